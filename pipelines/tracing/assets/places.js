"use strict";
// Places, numbers and what is drawn: kept as plain values, undone and redone, held in the browser, saved and opened.
const told = JSON.parse(document.getElementById("trace-data").textContent);
const height_steps = new Uint16Array(Uint8Array.from(atob(told.ground.steps), (letter) => letter.charCodeAt(0)).buffer);
const DECIMALS = 8, MOST_BYTES = 20e6, MOST_SHAPES = 5000;

// the page's metres to longitude and latitude, and back: the polynomials that were held against pyproj
function moved(fit, u, v) {
  const a = (u - fit.middle[0]) / fit.reach[0], b = (v - fit.middle[1]) / fit.reach[1];
  return [0, 1].map((axis) => fit.base[axis]
    + told.powers.reduce((sum, [i, j], at) => sum + fit.factors[axis][at] * a ** i * b ** j, 0));
}
const on_globe = ([x, y]) => moved(told.to_globe, x, y).map((each) => Number(each.toFixed(DECIMALS)));
const on_plane = ([longitude, latitude]) => moved(told.to_plane, longitude, latitude);
const each_place = (places, move) => (typeof places[0] === "number" ? move(places) : places.map((each) => each_place(each, move)));

// ground in metres, NaN where it is unknown
function ground_at([x, y]) {
  const { rows, columns, width, height, base, step } = told.ground;
  const row = Math.floor((told.extent[3] - y) / height), column = Math.floor(x / width);
  if (row < 0 || column < 0 || row >= rows || column >= columns) return NaN;
  const steps = height_steps[row * columns + column];
  return steps === 65535 ? NaN : base + step * steps;
}

function in_words(value, kind) {
  const { unit, one, decimals } = told.kinds[kind];
  const number = (value / one).toLocaleString("en-US", { minimumFractionDigits: decimals, maximumFractionDigits: decimals });
  return number + " " + unit.replace(/2$/, "\u00b2");
}

// a shape: { id, table, props, type, at } in the page's metres
const shape_of = (feature) => {
  const { table, ...props } = feature.properties;
  return { id: feature.id, table, props, type: feature.geometry.type, at: each_place(feature.geometry.coordinates, on_plane) };
};
const first = { shapes: told.features.map(shape_of), answers: told.answers, kept: told.replaces };
let state = structuredClone(first);
let past = [], ahead = [];
const listeners = [];

const of_table = (shapes, table) => JSON.stringify(shapes.filter((shape) => shape.table === table));
function replaced() {
  const tables = new Set([...first.shapes, ...state.shapes].map((shape) => shape.table));
  return [...new Set([...state.kept, ...[...tables].filter((table) => of_table(first.shapes, table) !== of_table(state.shapes, table))])];
}
const find_shape = (id) => state.shapes.find((shape) => shape.id === id);
const next_id = () => 1 + state.shapes.reduce((most, shape) => Math.max(most, shape.id), 0);

function thing_of(shape) {
  const same = told.things.filter((thing) => thing.table === shape.table);
  const kind = String(shape.props.kind || "").toLowerCase();
  return same.find((thing) => thing.set.kind && kind.includes(thing.set.kind)) || same[same.length - 1];
}

// every change goes through here, so that each can be undone
function change(work) {
  past.push(JSON.stringify(state));
  if (past.length > 500) past.shift();
  ahead = [];
  work(state);
  changed();
}
function step(from, to) {
  if (!from.length) return false;
  to.push(JSON.stringify(state));
  state = JSON.parse(from.pop());
  changed();
  return true;
}
const undo = () => step(past, ahead);
const redo = () => step(ahead, past);

function changed() {
  for (const each of listeners) each();
  keep();
}

function keep() {
  if (told.live) return;
  const note = document.getElementById("kept");
  try {
    localStorage.setItem(told.key, JSON.stringify({ state, saved: new Date().toISOString() }));
    note.textContent = "Kept in this browser as you draw. Save the file before you clear it or change computers.";
  } catch {
    note.textContent = "This browser keeps nothing: save the file before you close the page.";
  }
}
function kept_before() {
  if (told.live) return null;
  try {
    const found = JSON.parse(localStorage.getItem(told.key));
    if (!found || !Array.isArray(found.state.shapes) || JSON.stringify(found.state) === JSON.stringify(first)) return null;
    return found;
  } catch {
    return null;
  }
}

function collection() {
  const tables = replaced();
  const features = state.shapes.filter((shape) => tables.includes(shape.table)).map((shape) => ({
    type: "Feature", id: shape.id, geometry: { type: shape.type, coordinates: each_place(shape.at, on_globe) },
    properties: { table: shape.table, ...shape.props },
  }));
  return { type: "FeatureCollection", replaces: tables, answers: state.answers, features };
}

const placed = (places, deep) => Array.isArray(places) && places.length > 0 && (deep
  ? places.every((each) => placed(each, deep - 1)) : places.length > 1 && places.every(Number.isFinite));

// what a file holds takes the place of the tables that it says; anything else stays
function open_text(text) {
  const read = JSON.parse(text);
  if (!read || read.type !== "FeatureCollection" || !Array.isArray(read.features)) throw new Error("it is no GeoJSON FeatureCollection");
  if (read.features.length > MOST_SHAPES) throw new Error("it holds " + read.features.length + " shapes, and may hold " + MOST_SHAPES);
  const known = new Set([...told.things.map((thing) => thing.table), "soil"]);
  const given = read.features.map((feature, at) => {
    const table = feature && feature.properties && feature.properties.table;
    if (!known.has(table)) throw new Error("feature " + ((feature && feature.id) || at + 1) + " belongs to no table that is known here");
    const geometry = feature.geometry || {}, deep = { Point: 0, LineString: 1, MultiPoint: 1, Polygon: 2, MultiLineString: 2, MultiPolygon: 3 }[geometry.type];
    if (deep === undefined || !placed(geometry.coordinates, deep)) {
      throw new Error("feature " + (feature.id || at + 1) + " has coordinates that make no shape");
    }
    return shape_of(feature);
  });
  const tables = new Set([...(Array.isArray(read.replaces) ? read.replaces : []), ...given.map((shape) => shape.table)]);
  change((next) => {
    const others = next.shapes.filter((shape) => !tables.has(shape.table));
    const used = new Set(others.map((shape) => shape.id));
    let free = 1 + [...others, ...given].reduce((most, shape) => Math.max(most, shape.id || 0), 0);
    for (const shape of given) {
      if (!Number.isInteger(shape.id) || used.has(shape.id)) shape.id = free++;
      used.add(shape.id);
    }
    next.shapes = [...others, ...given];
    next.answers = { ...next.answers, ...(read.answers || {}) };
    next.kept = [...new Set([...next.kept, ...tables])];
  });
  return given.length;
}

// whether an outline crosses or touches itself, so that it holds no plain area
function crosses(shape) {
  if (shape.type !== "Polygon") return false;
  return shape.at.some((ring) => {
    const turn = (p, q, r) => Math.sign((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]));
    const sides = ring.slice(1).map((end, at) => [ring[at], end]);
    return sides.some(([a, b], one) => sides.some(([c, d], other) => {
      if (other <= one + 1 || (one === 0 && other === sides.length - 1)) return false;
      return turn(a, b, c) !== turn(a, b, d) && turn(c, d, a) !== turn(c, d, b);
    }));
  });
}
