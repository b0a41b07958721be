#!/usr/bin/env bash
# Makes openlayers.js and its licences anew from npm, in a folder of its own: ./build.sh
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
npm init -y >/dev/null
npm install --no-audit --no-fund --no-package-lock ol@10.11.0 esbuild@0.28.2 >/dev/null
cp "$here/entry.js" .
node_modules/@esbuild/*/bin/esbuild entry.js --bundle --minify --format=iife --global-name=ol --target=es2020 \
    --legal-comments=none --charset=ascii --log-level=warning --metafile=made.json --outfile=bundle.js
{
    echo "/* OpenLayers $(node -p "require('ol/package.json').version"), BSD-2-Clause, and what it stands on: see LICENSES.txt */"
    # nothing that could end the element which the page carries it in
    sed 's#</script#<\\/script#g' bundle.js
} >"$here/openlayers.js"
node - >"$here/LICENSES.txt" <<'LICENSES'
const fs = require('fs');
const inputs = Object.keys(require('./made.json').inputs);
const names = [...new Set(inputs.map((each) => (each.match(/node_modules\/((?:@[^/]+\/)?[^/]+)/) || [])[1]).filter(Boolean))].sort();
for (const name of names) {
    const folder = `node_modules/${name}`;
    const file = fs.readdirSync(folder).find((each) => /^licen[cs]e/i.test(each));
    console.log(`== ${name} ${require(`./${folder}/package.json`).version}\n\n${fs.readFileSync(`${folder}/${file}`, 'utf8').trim()}\n`);
}
LICENSES
wc -c "$here/openlayers.js"
