"""Each rule of the trade acts: changed in a site file, it moves a layer, a table, a warning or a verdict of a lot."""

import re
from pathlib import Path

SAMPLES = Path(__file__).parents[3] / "sample_data"


def site_of(lot, rule, folder):
    """A sample lot's site file with a rule in it; what it gives itself of the rule is left out."""
    text = (SAMPLES / f"{lot}.toml").read_text()
    text = re.sub(r'(file|table|curve) = "([^"]+)"', lambda found: f'{found[1]} = "{(SAMPLES / found[2]).as_posix()}"', text)
    key = rule.partition(" = ")[0]
    for silent in SILENT.get(key, ()):
        text = re.sub(silent, "", text)
    site = folder / "site.toml"
    site.write_text(f"{text}\n[rules]\n{rule}\n" if rule else text)
    return site
