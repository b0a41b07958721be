"use strict";
// The map: moved, zoomed and tapped; heights under the pointer; distance and fall; water standing in a storm.
(function () {
  const source = document.getElementById("map-data");
  if (!source) return;
  const told = JSON.parse(source.textContent);
  const pane = document.getElementById("map-pane"), svg = pane.querySelector("svg.map");
  const place = document.getElementById("map-place"), scale = told.scale;
  const ground = told.ground, bytes = Uint8Array.from(atob(ground.steps), (c) => c.charCodeAt(0));
  const steps = new Uint16Array(bytes.buffer);
  const still = Array.from(svg.querySelectorAll(".still:not(.label)"), (group) => ({ group, at: group.getAttribute("transform") }));
  const hatches = svg.querySelectorAll("pattern");
  // middle in metres east and south of the view's corner, and metres in a pixel of the screen
  let middle = [0, 0], size = 1, points = [], measuring = false;

  const spot = (sheet) => [sheet[0] / scale, sheet[1] / scale];

  function draw() {
    const wide = pane.clientWidth * size * scale, high = pane.clientHeight * size * scale;
    svg.setAttribute("viewBox", [middle[0] * scale - wide / 2, middle[1] * scale - high / 2, wide, high].join(" "));
    const one = size * scale;
    for (const each of still) each.group.setAttribute("transform", each.at + " scale(" + one + ")");
    for (const hatch of hatches) hatch.setAttribute("patternTransform", "scale(" + one + ")");
    drawScale();
    place_labels();
    drawMeasure();
  }

  // names and numbers stand beside what they belong to, over no symbol and no other name, at this zoom
  const labels = Array.from(svg.querySelectorAll(".label"), (group) => ({
    group, text: group.querySelector("text"), layer: svg.querySelector("#layer-" + group.dataset.for),
    at: group.dataset.at.split(";").map((place) => place.split(" ").map(Number)), reach: Number(group.dataset.reach),
    long: group.dataset.long ? Number(group.dataset.long) : Infinity, inside: group.dataset.inside !== undefined,
    once: group.dataset.once !== undefined, small: group.dataset.small !== undefined, words: group.textContent,
  }));
  const offered = [[1, 0, 0, -0.5], [-1, 0, -1, -0.5], [0, -1, -0.5, -1], [0, 1, -0.5, 0],
    [0.7, -0.7, 0, -1], [0.7, 0.7, 0, 0], [-0.7, -0.7, -1, -1], [-0.7, 0.7, -1, 0]];
  function place_labels() {
    const pane_box = pane.getBoundingClientRect(), one = size * scale, taken = [], written = [];
    const left = pane_box.left + pane.clientLeft, top = pane_box.top + pane.clientTop;
    for (const layer of svg.querySelectorAll(".layer")) {
      if (layer.getAttribute("display") === "none") continue;
      for (const symbol of layer.querySelectorAll(".symbol")) {
        const box = symbol.getBoundingClientRect();
        taken.push([box.left - left - 1, box.top - top - 1, box.right - left + 1, box.bottom - top + 1]);
      }
    }
    for (const name of ["map-north", "map-scale"]) {
      const box = document.getElementById(name).getBoundingClientRect();
      taken.push([box.left - left, box.top - top, box.right - left, box.bottom - top]);
    }
    for (const label of labels) {
      label.group.setAttribute("visibility", "hidden");
      if (!label.layer || label.layer.getAttribute("display") === "none") continue;
      if (!label.wide) {
        const box = label.text.getBBox();
        // letters are set a little wider or narrower at other zooms
        label.wide = 1.04 * box.width + 4;
        label.high = box.height + 2;
        label.down = 1 - box.y;
      }
      if (label.long / one < 0.6 * label.wide) continue;
      const put = free(label, one, taken, label.once ? written.filter((each) => each.words === label.words) : []);
      if (!put) continue;
      written.push({ words: label.words, x: put[0], y: put[1] });
      taken.push([put[0], put[1], put[0] + label.wide, put[1] + label.high]);
      // drawing units under the pane's own pixels
      const x = (middle[0] + (put[0] + 2 - pane.clientWidth / 2) * size) * scale;
      const y = (middle[1] + (put[1] + label.down - pane.clientHeight / 2) * size) * scale;
      label.group.setAttribute("transform", "translate(" + x + " " + y + ") scale(" + one + ")");
      label.group.setAttribute("visibility", "visible");
    }
  }

  function free(label, one, taken, again) {
    const places = label.at.map(([x, y]) => [(x / scale - middle[0]) / size + pane.clientWidth / 2,
      (y / scale - middle[1]) / size + pane.clientHeight / 2]);
    const fits = ([x, y]) => again.every((each) => Math.hypot(x - each.x, y - each.y) >= 150) && x >= 2 && y >= 2 && x + label.wide <= pane.clientWidth - 2 && y + label.high <= pane.clientHeight - 2 &&
      taken.every((box) => x > box[2] || x + label.wide < box[0] || y > box[3] || y + label.high < box[1]);
    const room = label.inside ? places.map(([x, y]) => [x - label.wide / 2, y - label.high / 2]) : [];
    for (const step of [0, 12, 26, 42]) {
      for (const [x, y] of places) {
        const off = label.reach + step;
        for (const [right, below, across, up] of offered) room.push([x + right * off + across * label.wide, y + below * off + up * label.high]);
      }
    }
    const found = room.filter(fits);
    return found.find(([x, y]) => !roofed(x, y, label.wide, label.high)) || (label.small ? null : found[0]);
  }

  // rings of the roofs' outlines in drawing units, and whether a name would lie on one that is seen
  const roofs = Array.from(svg.querySelectorAll("#layer-roofs path"), (path) => path.getAttribute("d").split("Z"))
    .flat().filter(Boolean).map((ring) => ring.slice(1).split("L").map((place) => place.split(" ").map(Number)));
  const roof_layer = svg.querySelector("#layer-roofs");
  function roofed(x, y, wide, high) {
    const at = (place, whole, from) => ((place - whole / 2) * size + from) * scale;
    const west = at(x, pane.clientWidth, middle[0]), east = at(x + wide, pane.clientWidth, middle[0]);
    const north = at(y, pane.clientHeight, middle[1]), south = at(y + high, pane.clientHeight, middle[1]);
    return Boolean(roof_layer) && roof_layer.getAttribute("display") !== "none" && roofs.some((ring) => {
      let inside = false;
      return ring.some(([x1, y1], k) => {
        const [x0, y0] = ring.at(k - 1);
        if ((y0 > north) !== (y1 > north) && west < x0 + (north - y0) / (y1 - y0) * (x1 - x0)) inside = !inside;
        if (Math.max(x0, x1) < west || Math.min(x0, x1) > east || Math.max(y0, y1) < north || Math.min(y0, y1) > south) return false;
        const sides = [[west, north], [east, north], [west, south], [east, south]].map(([u, v]) => (x1 - x0) * (v - y0) - (y1 - y0) * (u - x0));
        return Math.min(...sides) <= 0 && Math.max(...sides) >= 0;
      }) || inside;
    });
  }

  function fit(bounds) {
    const [west, south, east, north] = bounds;
    middle = [(west + east) / 2 - told.west, told.north - (south + north) / 2];
    size = Math.max((east - west) / pane.clientWidth, (north - south) / pane.clientHeight);
    draw();
  }

  function drawScale() {
    const unit = told.length, room = (pane.clientWidth * 0.3 * size) / unit.one;
    const power = Math.pow(10, Math.floor(Math.log10(room)));
    const length = [5, 2, 1].map((n) => n * power).find((n) => n <= room);
    const bar = document.querySelector("#map-scale span");
    bar.style.width = (length * unit.one) / size + "px";
    bar.textContent = Number(length.toPrecision(3)) + " " + unit.unit;
  }

  // metres of the map at a place of the screen
  function under(x, y) {
    const box = pane.getBoundingClientRect();
    return [middle[0] + (x - box.left - pane.clientLeft - pane.clientWidth / 2) * size,
      middle[1] + (y - box.top - pane.clientTop - pane.clientHeight / 2) * size];
  }

  function cellOf(at) {
    const column = Math.floor((at[0] + told.west - ground.west) / ground.width);
    const row = Math.floor((ground.north - (told.north - at[1])) / ground.height);
    return row < 0 || column < 0 || row >= ground.rows || column >= ground.columns ? -1 : row * ground.columns + column;
  }

  function heightOf(cell) {
    return cell < 0 || steps[cell] === 65535 ? null : ground.base + steps[cell] * ground.step;
  }

  const written = (value, kind) => (value / kind.one).toLocaleString("en-US",
    { minimumFractionDigits: kind.decimals, maximumFractionDigits: kind.decimals }) + " " + kind.unit;

  function read(at) {
    const east = (at[0] + told.west) / told.frame[0], north = (told.north - at[1]) / told.frame[1];
    const height = heightOf(cellOf(at));
    place.textContent = "E " + east.toFixed(1) + "  N " + north.toFixed(1) + "  ·  " +
      (height === null ? "ground not known here" : "ground " + written(height, told.level));
    return height;
  }

  function zoom(factor, x, y) {
    const least = 2 / pane.clientWidth, most = (4 * (told.whole[2] - told.whole[0])) / pane.clientWidth;
    const at = x === undefined ? middle : under(x, y), next = Math.min(Math.max(size * factor, least), most);
    middle = [at[0] + ((middle[0] - at[0]) * next) / size, at[1] + ((middle[1] - at[1]) * next) / size];
    size = next;
    draw();
  }

  // ---- what is under a tap
  function featuresAt(x, y) {
    const found = document.elementsFromPoint(x, y).map((hit) => hit.closest(".feature")).filter(Boolean);
    return [...new Set(found.map((group) => group.dataset.id))];
  }

  function pick(ids) {
    const id = ids[0], title = document.getElementById("picked-title"), also = document.getElementById("picked-also");
    const rows = document.getElementById("picked-rows");
    rows.replaceChildren();
    also.replaceChildren();
    for (const group of svg.querySelectorAll(".feature.chosen")) group.classList.remove("chosen");
    if (id === undefined) {
      title.textContent = "Nothing here";
      unpick.parentElement.classList.remove("shown");
      return;
    }
    const feature = told.features[id];
    title.textContent = feature.title;
    for (const [head, text, from, value] of feature.rows) {
      const row = document.createElement("div"), term = document.createElement("dt"), data = document.createElement("dd");
      term.textContent = head;
      const shown = document.createElement(from ? "data" : "span");
      shown.textContent = text;
      if (from) { shown.dataset.from = from; shown.value = value; }
      data.append(shown);
      row.append(term, data);
      rows.append(row);
    }
    for (const other of ids.slice(1, 6)) {
      const press = document.createElement("button");
      press.type = "button";
      press.textContent = told.features[other].title;
      press.addEventListener("click", () => pick([other, ...ids.filter((each) => each !== other)]));
      also.append(press);
    }
    for (const group of svg.querySelectorAll(".feature")) {
      if (group.dataset.id === id) group.classList.add("chosen");
    }
    unpick.parentElement.classList.add("shown");
  }

  // on a small screen the numbers lie over it, never over what was tapped
  const unpick = document.getElementById("unpick");
  unpick.hidden = false;
  unpick.addEventListener("click", () => pick([]));

  function tap(x, y) {
    if (measuring) {
      points.push(under(x, y));
      drawMeasure();
    } else {
      unpick.parentElement.classList.toggle("above", y > window.innerHeight / 2);
      pick(featuresAt(x, y));
    }
  }

  document.getElementById("find").addEventListener("change", function () {
    if (!this.value) return;
    middle = told.features[this.value].at.slice();
    const box = document.querySelector('[data-toggle="' + told.features[this.value].layer + '"]');
    if (box && !box.checked) box.click();
    draw();
    pick([this.value]);
  });

  // ---- measuring
  function drawMeasure() {
    let group = svg.querySelector("#measuring");
    if (!group) {
      group = document.createElementNS(svg.namespaceURI, "g");
      group.id = "measuring";
      group.setAttribute("pointer-events", "none");
      svg.append(group);
    }
    group.replaceChildren();
    if (!points.length) return;
    const add = (tag, attributes) => {
      const made = document.createElementNS(svg.namespaceURI, tag);
      for (const name in attributes) made.setAttribute(name, attributes[name]);
      group.append(made);
    };
    const line = points.map((p) => p[0] * scale + " " + p[1] * scale).join("L"), one = size * scale;
    for (const [colour, width] of [["#ffffff", 6], ["#000000", 2.5]]) {
      add("path", { d: "M" + line, fill: "none", stroke: colour, "stroke-width": width, "vector-effect": "non-scaling-stroke" });
    }
    for (const p of points) {
      add("circle", { cx: p[0] * scale, cy: p[1] * scale, r: 5 * one, fill: "#ffffff", stroke: "#000000", "stroke-width": 2 * one });
    }
    let length = 0;
    for (let n = 1; n < points.length; n++) {
      length += Math.hypot(points[n][0] - points[n - 1][0], points[n][1] - points[n - 1][1]);
    }
    const first = heightOf(cellOf(points[0])), last = heightOf(cellOf(points[points.length - 1]));
    let words = "Distance " + written(length, told.length);
    if (first !== null && last !== null && points.length > 1) {
      const fall = first - last;
      words += ", " + (fall >= 0 ? "falls " : "rises ") + written(Math.abs(fall), told.level);
      if (length > 0.5) words += " (" + ((100 * Math.abs(fall)) / length).toFixed(1) + " %)";
    }
    place.textContent = points.length > 1 ? words : "Tap the next point.";
  }

  const measure = document.getElementById("measure");
  function setMeasuring(on) {
    measuring = on;
    points = [];
    measure.setAttribute("aria-pressed", String(on));
    drawMeasure();
    place.textContent = on ? "Tap two or more points." : "";
  }
  measure.addEventListener("click", () => setMeasuring(!measuring));

  // ---- pointers: one moves, two pinch, one that hardly moved taps
  const down = new Map();
  let moved = false, gap = 0;
  pane.addEventListener("pointerdown", function (event) {
    if (event.button) return;
    pane.setPointerCapture(event.pointerId);
    down.set(event.pointerId, [event.clientX, event.clientY]);
    moved = down.size > 1;
    gap = 0;
  });
  pane.addEventListener("pointermove", function (event) {
    const was = down.get(event.pointerId);
    if (!was) {
      if (!(measuring && points.length)) read(under(event.clientX, event.clientY));
      return;
    }
    const now = [event.clientX, event.clientY];
    if (down.size === 1) {
      if (!moved && Math.hypot(now[0] - was[0], now[1] - was[1]) < 6) return;
      moved = true;
      middle = [middle[0] - (now[0] - was[0]) * size, middle[1] - (now[1] - was[1]) * size];
      down.set(event.pointerId, now);
      draw();
      return;
    }
    down.set(event.pointerId, now);
    const [a, b] = [...down.values()], apart = Math.hypot(a[0] - b[0], a[1] - b[1]);
    if (gap) zoom(gap / apart, (a[0] + b[0]) / 2, (a[1] + b[1]) / 2);
    gap = apart;
  });
  function up(event) {
    if (!down.delete(event.pointerId)) return;
    if (!moved && event.type === "pointerup") {
      if (!measuring) read(under(event.clientX, event.clientY));
      tap(event.clientX, event.clientY);
    }
    gap = 0;
  }
  pane.addEventListener("pointerup", up);
  pane.addEventListener("pointercancel", up);
  pane.addEventListener("wheel", function (event) {
    event.preventDefault();
    zoom(Math.exp(event.deltaY * (event.deltaMode ? 0.05 : 0.0015)), event.clientX, event.clientY);
  }, { passive: false });

  // ---- keys
  const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  pane.addEventListener("keydown", function (event) {
    const box = pane.getBoundingClientRect(), x = box.left + box.width / 2, y = box.top + box.height / 2;
    if (ways[event.key]) {
      const step = 60 * size * (event.shiftKey ? 0.1 : 1);
      middle = [middle[0] + ways[event.key][0] * step, middle[1] + ways[event.key][1] * step];
      draw();
      if (!(measuring && points.length)) read(middle);
    } else if (event.key === "+" || event.key === "=") zoom(0.7);
    else if (event.key === "-") zoom(1 / 0.7);
    else if (event.key === "Enter") tap(x, y);
    else if (event.key === "Escape") setMeasuring(measuring && points.length > 0);
    else return;
    event.preventDefault();
  });
  document.getElementById("zoom-in").addEventListener("click", () => zoom(0.7));
  document.getElementById("zoom-out").addEventListener("click", () => zoom(1 / 0.7));
  document.getElementById("see-lot").addEventListener("click", () => fit(told.view));
  document.getElementById("see-all").addEventListener("click", () => fit(told.whole));

  // ---- layers
  for (const box of document.querySelectorAll("[data-toggle]")) {
    box.addEventListener("change", function () {
      const way = box.checked ? "inline" : "none";
      svg.querySelector("#layer-" + box.dataset.toggle).setAttribute("display", way);
      place_labels();
    });
  }

  // ---- water standing in a storm, at an hour
  const slider = document.getElementById("storm"), clock = document.getElementById("hour"), water = svg.querySelector("#water");
  const chosen = (name) => document.querySelector("[name=" + name + "]:checked").value;
  const painted = {};
  for (const way in told.water) {
    painted[way] = told.water[way].map(([below, colour, opacity]) => ({ below: below === null ? Infinity : below,
      bytes: [1, 3, 5].map((n) => parseInt(colour.slice(n, n + 2), 16)).concat(Math.round(255 * opacity)) }));
  }

  // depth of a pond's water now [mm]
  function depthOf(pond, after) {
    return clock ? pond.course[after][Number(clock.value)] : 1000 * pond.deepest[after];
  }

  // hours that water stands over each height above a pond's bottom, by whole millimetres
  function hoursOver(course) {
    const found = new Float64Array(Math.max(...course) + 2);
    for (let n = 1; n < course.length; n++) {
      for (let high = 0; high < (course[n - 1] + course[n]) / 2; high++) found[high] += told.hours[n] - told.hours[n - 1];
    }
    return found;
  }

  function paint(ponds, after, way) {
    const canvas = document.createElement("canvas");
    canvas.width = ground.columns;
    canvas.height = ground.rows;
    const paper = canvas.getContext("2d"), image = paper.createImageData(ground.columns, ground.rows);
    const values = new Float32Array(ground.rows * ground.columns);
    for (const bed of told.beds) {
      const pond = ponds[bed.id];
      if (!pond) continue;
      const hours = way === "water_hours" ? hoursOver(pond.course[after]) : null, depth = depthOf(pond, after);
      for (const [start, count] of bed.runs) {
        for (let cell = start; cell < start + count; cell++) {
          const height = heightOf(cell);
          if (height === null) continue;
          const above = 1000 * (height - bed.bottom);
          const value = hours ? hours[Math.max(Math.round(above), 0)] || 0 : Math.max(depth - above, 0) / 1000;
          if (value > values[cell]) values[cell] = value;
        }
      }
    }
    for (let cell = 0; cell < values.length; cell++) {
      if (values[cell] > 0) image.data.set(painted[way].find((each) => values[cell] < each.below).bytes, 4 * cell);
    }
    paper.putImageData(image, 0, 0);
    water.setAttribute("href", canvas.toDataURL());
  }

  function standing() {
    const storm = told.storms[Number(slider.value)], after = chosen("when") === "after" ? 1 : 0, way = chosen("water");
    document.getElementById("storm-name").textContent = storm.name + (storm.design ? ", the design storm" : "");
    slider.setAttribute("aria-valuetext", storm.name);
    for (const marks of document.querySelectorAll("[data-water]")) marks.hidden = marks.dataset.water !== way;
    if (clock) {
      const hour = told.hours[Number(clock.value)], ends = storm.rain_ends;
      const words = hour + " h after the rain began" + (hour === ends ? ", as it ends" : hour > ends ? ", " + (hour - ends) + " h after it ended" : "");
      document.getElementById("hour-name").textContent = way === "water_hours" ? "At any hour" : words;
      clock.setAttribute("aria-valuetext", words);
      clock.disabled = way === "water_hours";
    }
    paint(storm.ponds, after, way);
    const body = document.querySelector("#storm-table tbody");
    body.replaceChildren();
    for (const bed of told.beds) {
      const pond = storm.ponds[bed.id];
      if (!pond || Math.max(...pond.deepest) < 0.0005) continue;
      if (body.rows.length >= 8) break;
      const row = body.insertRow(), name = document.createElement("th");
      name.scope = "row";
      name.textContent = bed.title;
      row.append(name);
      const depths = pond.deepest.slice(0, told.improved ? 2 : 1);
      if (clock) depths.unshift(depthOf(pond, after) / 1000);
      for (const depth of depths) {
        const cell = row.insertCell(), data = document.createElement("data");
        data.value = depth;
        data.textContent = written(depth, told.depth);
        cell.className = "n";
        cell.append(data);
      }
    }
    if (!body.rows.length) body.insertRow().insertCell().textContent = "No water stands.";
  }
  if (slider && told.storms.length) {
    water.setAttribute("x", (ground.west - told.west) * scale);
    water.setAttribute("y", (told.north - ground.north) * scale);
    water.setAttribute("width", ground.columns * ground.width * scale);
    water.setAttribute("height", ground.rows * ground.height * scale);
    for (const each of [slider, clock]) if (each) each.addEventListener("input", standing);
    for (const radio of document.querySelectorAll("[name=when],[name=water]")) radio.addEventListener("change", standing);
    standing();
  }

  new ResizeObserver(() => draw()).observe(pane);
  window.addEventListener("beforeprint", () => fit(told.view));
  fit(told.view);
})();
