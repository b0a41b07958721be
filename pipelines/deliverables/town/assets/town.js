"use strict";
// The map and the table of a town's lots: moved, zoomed and tapped; sorted and filtered; one lot's answer.
(function () {
  const told = JSON.parse(document.getElementById("town-data").textContent);
  const lots = told.lots, pane = document.getElementById("town-pane"), canvas = pane.querySelector("canvas");
  const paper = canvas.getContext("2d"), body = document.querySelector("#lots-table tbody");
  const by = (name) => document.getElementById(name);
  const place_of = new Map(lots.map((lot, at) => [lot.id, at]));
  const PAGE = 100, THIN = 8;
  // middle in tenths of a metre east and south of the corner; tenths in a pixel
  let middle = [told.size[0] / 2, told.size[1] / 2], size = 1, chosen = -1, shown = lots.map((_, at) => at);
  let kept = new Set(shown), listed = PAGE, key = "need", up = false, waiting = false;

  // coordinates are kept as steps from point to point
  function points(steps) {
    const found = [[steps[0], steps[1]]];
    for (let at = 2; at < steps.length; at += 2) {
      const last = found[found.length - 1];
      found.push([last[0] + steps[at], last[1] + steps[at + 1]]);
    }
    return found;
  }
  function box(parts) {
    const bounds = [Infinity, Infinity, -Infinity, -Infinity];
    for (const part of parts) for (const [x, y] of part) {
      bounds[0] = Math.min(bounds[0], x); bounds[1] = Math.min(bounds[1], y);
      bounds[2] = Math.max(bounds[2], x); bounds[3] = Math.max(bounds[3], y);
    }
    return bounds;
  }
  for (const lot of lots) { lot.parts = lot.shape.map(points); lot.box = box(lot.parts); }
  for (const layer of [...told.under, ...told.layers]) for (const each of layer.features) { each.parts = each.shape.map(points); each.box = box(each.parts); }

  const screen = ([x, y]) => [(x - middle[0]) / size + pane.clientWidth / 2, (y - middle[1]) / size + pane.clientHeight / 2];
  const under = (x, y) => {
    const frame = pane.getBoundingClientRect();
    return [middle[0] + (x - frame.left - pane.clientLeft - pane.clientWidth / 2) * size,
      middle[1] + (y - frame.top - pane.clientTop - pane.clientHeight / 2) * size];
  };
  const is_on = (name) => { const tick = document.querySelector('[data-layer="' + name + '"]'); return !tick || tick.checked; };

  function trace(parts, closed) {
    paper.beginPath();
    for (const part of parts) {
      part.forEach((point, at) => paper[at ? "lineTo" : "moveTo"](...screen(point)));
      if (closed) paper.closePath();
    }
  }
  function ink(mark, pale) {
    paper.globalAlpha = pale ? 0.25 : 1;
    // from far off lines would cover the lots beside them
    paper.lineWidth = Math.max(mark.width * Math.min(1, THIN / size), Math.min(mark.width, 1));
    paper.setLineDash(mark.dash);
    paper.strokeStyle = mark.kind === "line" ? mark.colour : mark.edge;
    paper.fillStyle = mark.colour;
  }
  function area(parts, mark, pale) {
    ink(mark, pale);
    trace(parts, true);
    if (mark.opacity > 0) { paper.globalAlpha *= mark.opacity; paper.fill("evenodd"); paper.globalAlpha = pale ? 0.25 : 1; }
    paper.stroke();
  }
  function line(parts, mark) {
    ink(mark, false);
    paper.globalAlpha = mark.opacity;
    trace(parts, false);
    paper.stroke();
    if (mark.shape !== "arrow") return;
    paper.setLineDash([]);
    for (const part of parts) {
      const [x0, y0] = screen(part[part.length - 2] || part[0]), [x1, y1] = screen(part[part.length - 1]);
      const turn = Math.atan2(y1 - y0, x1 - x0), at = [(x0 + x1) / 2, (y0 + y1) / 2];
      if (Math.hypot(x1 - x0, y1 - y0) < 12) continue;
      paper.beginPath();
      for (const [along, aside] of [[5, 0], [-4, 4], [-4, -4]]) {
        paper.lineTo(at[0] + along * Math.cos(turn) - aside * Math.sin(turn), at[1] + along * Math.sin(turn) + aside * Math.cos(turn));
      }
      paper.fill();
    }
  }
  function marker(parts, mark) {
    const [x, y] = screen(parts[0][0]), half = mark.width / 2;
    paper.setLineDash([]); paper.globalAlpha = 1; paper.lineWidth = 1.4;
    for (const [kind, outlines] of [["face", mark.glyph.face], ["solid", mark.glyph.solid], ["line", mark.glyph.line]]) {
      for (const outline of outlines) {
        paper.beginPath();
        for (const [right, down] of outline) paper.lineTo(x + right * half, y + down * half);
        paper.fillStyle = kind === "face" ? mark.colour : mark.edge;
        paper.strokeStyle = mark.edge;
        paper[kind === "line" ? "stroke" : "fill"]();
      }
    }
  }

  function draw() {
    waiting = false;
    const ratio = window.devicePixelRatio || 1, wide = pane.clientWidth, high = pane.clientHeight;
    if (canvas.width !== wide * ratio || canvas.height !== high * ratio) { canvas.width = wide * ratio; canvas.height = high * ratio; }
    paper.setTransform(ratio, 0, 0, ratio, 0, 0);
    paper.clearRect(0, 0, wide, high);
    const [west, north] = [middle[0] - wide / 2 * size, middle[1] - high / 2 * size], [east, south] = [west + wide * size, north + high * size];
    const seen = (bounds) => bounds[2] >= west && bounds[0] <= east && bounds[3] >= north && bounds[1] <= south;
    for (const layer of told.under) {
      if (!is_on(layer.name) || (layer.far && size > layer.far)) continue;
      for (const each of layer.features) if (seen(each.box)) area(each.parts, told.marks[layer.name][each.mark], true);
    }
    lots.forEach((lot, at) => { if (seen(lot.box)) area(lot.parts, told.marks.lots[lot.mark], !kept.has(at)); });
    for (const layer of told.layers) {
      if (!is_on(layer.name) || (layer.far && size > layer.far)) continue;
      for (const each of layer.features) {
        if (!seen(each.box)) continue;
        const mark = told.marks[layer.name][each.mark];
        if (mark.kind === "fill") area(each.parts, mark, false);
        else if (mark.kind === "line") line(each.parts, mark);
        else marker(each.parts, mark);
      }
    }
    if (chosen >= 0) {
      paper.globalAlpha = 1; paper.setLineDash([]); paper.lineWidth = 4; paper.strokeStyle = "#1a1a1a";
      trace(lots[chosen].parts, true); paper.stroke();
      paper.lineWidth = 2; paper.strokeStyle = "#fff"; paper.stroke();
    }
    if (size < 3) names(seen);
    scale_bar();
  }
  function names(seen) {
    paper.globalAlpha = 1; paper.font = "12px system-ui, sans-serif"; paper.textAlign = "center"; paper.textBaseline = "middle";
    for (const lot of lots) {
      if (!seen(lot.box) || (lot.box[2] - lot.box[0]) / size < 34) continue;
      const [x, y] = screen([(lot.box[0] + lot.box[2]) / 2, (lot.box[1] + lot.box[3]) / 2]);
      const words = lot.name + (lot.need === null ? "" : " · " + Math.round(lot.need));
      paper.lineWidth = 3; paper.strokeStyle = "#ffffffd9"; paper.strokeText(words, x, y);
      paper.fillStyle = "#1a1a1a"; paper.fillText(words, x, y);
    }
  }
  function scale_bar() {
    const room = (pane.clientWidth * 0.3 * size) / 10 / told.length.one, power = Math.pow(10, Math.floor(Math.log10(room)));
    const long = [5, 2, 1].map((n) => n * power).find((n) => n <= room), bar = document.querySelector("#map-scale span");
    bar.style.width = long * told.length.one * 10 / size + "px";
    bar.textContent = Number(long.toPrecision(3)) + " " + told.length.unit;
  }
  function redraw() { if (!waiting) { waiting = true; requestAnimationFrame(draw); } }
  function fit(bounds) {
    middle = [(bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2];
    size = Math.max((bounds[2] - bounds[0]) / pane.clientWidth, (bounds[3] - bounds[1]) / pane.clientHeight, 0.2) * 1.06;
    redraw();
  }
  function zoom(by_what, at) {
    const around = at || middle.slice(), next = Math.min(Math.max(size * by_what, 0.1), 40 * Math.max(...told.size) / 1000);
    middle = middle.map((value, axis) => around[axis] + (value - around[axis]) * next / size);
    size = next;
    redraw();
  }

  function inside(lot, [x, y]) {
    if (x < lot.box[0] || x > lot.box[2] || y < lot.box[1] || y > lot.box[3]) return false;
    let odd = false;
    for (const part of lot.parts) for (let at = 0, before = part.length - 1; at < part.length; before = at++) {
      const [x0, y0] = part[at], [x1, y1] = part[before];
      if ((y0 > y) !== (y1 > y) && x < (x1 - x0) * (y - y0) / (y1 - y0) + x0) odd = !odd;
    }
    return odd;
  }
  function pick(at, move) {
    chosen = at;
    const lot = lots[at], told_of = by("picked-told");
    by("picked").classList.toggle("shown", at >= 0);
    for (const row of body.rows) row.setAttribute("aria-current", String(Number(row.dataset.at) === at));
    if (at < 0) { told_of.innerHTML = ""; redraw(); return; }
    const add = (name, text, into) => { const made = document.createElement(name); made.textContent = text; (into || told_of).append(made); return made; };
    told_of.textContent = "";
    add("h3", lot.name + (lot.name.split(" ").includes(lot.id) ? "" : " (" + lot.id + ")"));
    if (lot.headline) add("p", lot.headline);
    if (lot.message) add("p", lot.message);
    const list = add("dl", "");
    for (const [head, text] of lot.facts) { const row = add("div", "", list); add("dt", told.heads[head], row); add("dd", text, row); }
    for (const [title, ends] of [["Takes water from", told.links.filter((link) => link[1] === at)], ["Gives water to", told.links.filter((link) => link[0] === at)]]) {
      if (!ends.length) continue;
      add("p", title).className = "note";
      const items = add("ul", ""); items.className = "takes";
      for (const [giver, taker, words, called] of ends) {
        const other = title.startsWith("Takes") ? giver : taker, item = add("li", "", items);
        if (other < 0) item.textContent = called + " " + words;
        else {
          const press = add("button", lots[other].name, item);
          press.type = "button"; press.className = "pick";
          press.addEventListener("click", () => pick(other, true));
          item.append(" " + (title.startsWith("Takes") ? words : words.replace("over the", "over its")));
        }
      }
    }
    if (move) {
      const [x, y] = screen([(lot.box[0] + lot.box[2]) / 2, (lot.box[1] + lot.box[3]) / 2]);
      if (x < 30 || y < 30 || x > pane.clientWidth - 30 || y > pane.clientHeight - 30 || size > 6) near(lot);
    }
    redraw();
  }
  function near(lot) {
    const grow = Math.max(lot.box[2] - lot.box[0], lot.box[3] - lot.box[1]) * 2;
    fit([lot.box[0] - grow, lot.box[1] - grow, lot.box[2] + grow, lot.box[3] + grow]);
  }
  const pick_under = (at) => { const found = lots.findIndex((lot) => inside(lot, at)); if (found >= 0) pick(found, false); };

  // fingers and mouse
  const held = new Map();
  let moved = 0, apart = 0;
  pane.addEventListener("pointerdown", (event) => {
    held.set(event.pointerId, [event.clientX, event.clientY]); moved = 0;
    pane.setPointerCapture(event.pointerId);
  });
  pane.addEventListener("pointermove", (event) => {
    const last = held.get(event.pointerId);
    if (!last) return;
    const now = [event.clientX, event.clientY];
    held.set(event.pointerId, now);
    moved += Math.hypot(now[0] - last[0], now[1] - last[1]);
    if (held.size === 1) { middle = [middle[0] - (now[0] - last[0]) * size, middle[1] - (now[1] - last[1]) * size]; redraw(); return; }
    const [one, two] = held.values(), wide = Math.hypot(one[0] - two[0], one[1] - two[1]);
    if (apart) zoom(apart / wide, under((one[0] + two[0]) / 2, (one[1] + two[1]) / 2));
    apart = wide;
  });
  const let_go = (event) => {
    if (event.type === "pointerup" && held.size === 1 && moved < 6) pick_under(under(event.clientX, event.clientY));
    held.delete(event.pointerId); apart = 0;
  };
  pane.addEventListener("pointerup", let_go);
  pane.addEventListener("pointercancel", let_go);
  pane.addEventListener("wheel", (event) => { event.preventDefault(); zoom(event.deltaY > 0 ? 1.25 : 0.8, under(event.clientX, event.clientY)); }, { passive: false });
  pane.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (step) middle = [middle[0] + step[0] * 60 * size, middle[1] + step[1] * 60 * size];
    else if (event.key === "+" || event.key === "=") zoom(0.8);
    else if (event.key === "-") zoom(1.25);
    else if (event.key === "Enter") pick_under(middle);
    else if (event.key === "Escape") pick(-1);
    else return;
    event.preventDefault(); redraw();
  });
  by("zoom-in").addEventListener("click", () => zoom(0.7));
  by("zoom-out").addEventListener("click", () => zoom(1.4));
  by("see-all").addEventListener("click", () => fit([0, 0, ...told.size]));
  by("see-lot").addEventListener("click", () => { if (chosen >= 0) near(lots[chosen]); });
  by("unpick").addEventListener("click", () => pick(-1));
  for (const tick of document.querySelectorAll("[data-layer]")) tick.addEventListener("change", redraw);

  // the table
  const heads = Array.from(document.querySelectorAll("#lots-table th"));
  function value(lot, name) { const found = lot[name]; return found === undefined || found === "" ? null : found; }
  function fill() {
    body.textContent = "";
    for (const at of shown.slice(0, listed)) {
      const lot = lots[at], row = body.insertRow();
      row.dataset.at = at;
      row.setAttribute("aria-current", String(at === chosen));
      heads.forEach(function (head, position) {
        const cell = position ? row.insertCell() : row.appendChild(document.createElement("th"));
        if (head.classList.contains("n")) cell.className = "n";
        else if (head.dataset.key === "why") cell.className = "words";
        const text = lot.told[head.dataset.key] === undefined ? value(lot, head.dataset.key) : lot.told[head.dataset.key];
        if (position) cell.textContent = text === null ? "" : text;
        else {
          const press = document.createElement("button");
          press.type = "button"; press.className = "pick"; press.textContent = text;
          cell.scope = "row"; cell.append(press);
        }
      });
    }
    by("more").hidden = shown.length <= listed;
    by("lots-count").textContent = shown.length + " of " + lots.length + " lots";
  }
  function order() {
    const compare = new Intl.Collator("en", { numeric: true }).compare;
    shown.sort(function (one, two) {
      const [a, b] = [value(lots[one], key), value(lots[two], key)];
      if (a === null || b === null) return (a === null) - (b === null);
      const found = typeof a === "number" ? a - b : compare(a, b);
      return (up ? found : -found) || compare(lots[one].id, lots[two].id);
    });
    for (const head of heads) {
      if (head.dataset.key === key) head.setAttribute("aria-sort", up ? "ascending" : "descending");
      else head.removeAttribute("aria-sort");
    }
  }
  function filter() {
    const text = by("by-text").value.trim().toLowerCase(), need = parseFloat(by("by-need").value);
    const chosen_of = (name) => (by(name) ? by(name).value : ""), cost = parseFloat(chosen_of("by-cost"));
    shown = [];
    lots.forEach(function (lot, at) {
      if (text && !(lot.id + " " + lot.name + " " + (lot.street || "") + " " + lot.headline + " " + lot.why + " " + lot.message).toLowerCase().includes(text)) return;
      if (!Number.isNaN(need) && !(lot.need >= need)) return;
      if (!Number.isNaN(cost) && !(lot.cost !== null && lot.cost <= cost)) return;
      for (const name of ["street", "mode", "status"]) if (chosen_of("by-" + name) && lot[name] !== chosen_of("by-" + name)) return;
      shown.push(at);
    });
    kept = new Set(shown);
    listed = PAGE;
    order(); fill(); redraw();
  }
  for (const name of ["by-text", "by-need", "by-street", "by-mode", "by-cost", "by-status"]) {
    if (by(name)) by(name).addEventListener("input", filter);
  }
  for (const head of heads) {
    head.querySelector("button").addEventListener("click", function () {
      up = key === head.dataset.key ? !up : head.dataset.key !== "need" && head.dataset.key !== "cost";
      key = head.dataset.key;
      order(); fill();
    });
  }
  body.addEventListener("click", (event) => { const row = event.target.closest("tr"); if (row) pick(Number(row.dataset.at), true); });
  by("more").addEventListener("click", () => { listed += PAGE; fill(); });
  by("save").addEventListener("click", function () {
    const quoted = (text) => { const plain = text === null ? "" : String(text); return /^[=+\-@]/.test(plain) && Number.isNaN(Number(plain)) ? '"\'' + plain.replace(/"/g, '""') + '"' : '"' + plain.replace(/"/g, '""') + '"'; };
    const keys = heads.map((head) => head.dataset.key);
    const rows = [keys, ...shown.map((at) => keys.map((name) => value(lots[at], name)))];
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob(["\ufeff" + rows.map((row) => row.map(quoted).join(",")).join("\r\n") + "\r\n"], { type: "text/csv" }));
    link.download = "lots.csv";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  });
  window.addEventListener("resize", redraw);
  filter();
  fit([0, 0, ...told.size]);
})();
