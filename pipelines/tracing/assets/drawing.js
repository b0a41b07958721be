// The map: what is drawn over the ground, by mouse, touch and keys, snapping to what is there.
const SNAP = 12;
const pane = document.getElementById("trace-map");
const plane = new ol.Projection({ code: "page", units: "m", extent: told.extent });
const format = new ol.GeoJSON();
const source = new ol.VectorSource(), under = new ol.VectorSource(), lot = new ol.VectorSource();
const chosen_one = new ol.Collection();
let thing = null, chosen = null, draw = null, by_keys = false;

function shaded(colour, opacity) {
  const parts = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
  return "rgba(" + parts.join(",") + "," + opacity + ")";
}
function style_of(look, { words = "", strong = false, heavy = false } = {}) {
  const styles = [], text = words ? new ol.Text({ text: words, font: "600 13px system-ui, Verdana, sans-serif", overflow: true,
    fill: new ol.Fill({ color: "#1a1a1a" }), stroke: new ol.Stroke({ color: "#ffffff", width: 3 }), offsetY: look.kind === "marker" ? 17 : 0 }) : undefined;
  if (look.kind === "marker") {
    if (strong) styles.push(new ol.Style({ image: new ol.Circle({ radius: 15, stroke: new ol.Stroke({ color: "#00507d", width: 4 }) }) }));
    styles.push(new ol.Style({ image: new ol.Icon({ src: look.picture, scale: 1.25 }), text }));
    return styles;
  }
  const line = look.kind === "line";
  const stroke = { color: line ? shaded(look.colour, look.opacity) : look.edge, width: (heavy ? 2 : 1) * Math.max(look.width, 0.6), lineDash: look.dash.length ? look.dash : undefined };
  if (strong) styles.push(new ol.Style({ stroke: new ol.Stroke({ color: "#00507d", width: stroke.width + 6 }) }));
  // a clear fill still takes a tap
  styles.push(new ol.Style({ stroke: new ol.Stroke(stroke), fill: line ? undefined : new ol.Fill({ color: shaded(look.colour, Math.max(look.opacity, 0.01)) }), text }));
  return styles;
}
function words_of(shape, its) {
  if (its.table === "house") return Number.isFinite(shape.props.floor_m) ? in_words(shape.props.floor_m, "level") : "";
  if (its.table === "soil") return "soil " + String(shape.props.group || "").toUpperCase();
  return its.look.kind === "line" || its.table === "complaints" ? "" : String(shape.props.kind || "").slice(0, 24);
}
const ground_style = (feature) => style_of(feature.get("look"), { words: feature.get("words"), heavy: feature.get("heavy") });
const drawn_style = (feature) => {
  const shape = find_shape(feature.getId()), its = shape && thing_of(shape);
  if (!its) return [];
  const type = shape.type.replace("Multi", ""), marked = type !== "Point" && its.look.kind === "marker", words = words_of(shape, its);
  const styles = style_of(its.looks[type], { words: marked ? "" : words, strong: chosen === shape.id });
  // a trunk or a well drawn as an outline is too small to see: its mark stands in it
  if (marked) styles.push(...style_of(its.look, { words }).map((each) => (each.setGeometry(new ol.Point(middle_of(feature.getGeometry()))), each)));
  for (const each of styles) each.setZIndex({ Polygon: 0, LineString: 1, Point: 2 }[type]);
  return styles;
};
function middle_of(geometry) {
  const [west, south, east, north] = geometry.getExtent();
  return [(west + east) / 2, (south + north) / 2];
}

const still = (address, extent) => new ol.ImageLayer({ source: new ol.ImageStatic({ url: address, imageExtent: extent, projection: plane, interpolate: true }) });
const ground_layers = {
  shade: still(told.shade, told.extent),
  ...(told.picture ? { picture: still(told.picture.image, told.picture.extent) } : {}),
};
const water_layers = Object.fromEntries(["contours", "low_spots", "flow_paths"].map((name) => {
  const features = told.under.filter((each) => each.layer === name).flatMap((each) => {
    const geometries = each.rings ? each.rings.map((rings) => new ol.Polygon(rings)) : each.lines.map((line) => new ol.LineString(line));
    return geometries.map((geometry, at) => new ol.Feature({ geometry, look: each.look || told.looks.contours, words: at ? "" : each.words, heavy: each.heavy }));
  });
  return [name, new ol.VectorLayer({ source: new ol.VectorSource({ features }), style: ground_style, declutter: name })];
}));
lot.addFeatures(told.parcel.map((rings) => new ol.Feature({ geometry: new ol.Polygon(rings) })));
// sides that may face the street, where nobody knows: tapped, or ticked beside the map
const sides = new ol.VectorSource({ features: told.sides.map(({ side, at }) => new ol.Feature({ geometry: new ol.LineString(at), side })) });
const is_street = (side) => (state.answers.street_side || []).includes(side);
function set_street(side, on) {
  change((next) => {
    const named = (next.answers.street_side || []).filter((each) => each !== side);
    if (on) named.push(side);
    if (named.length) next.answers.street_side = named;
    else delete next.answers.street_side;
  });
  tell(on ? "The street is on the " + side + "." : "The street is not on the " + side + ".");
}
const sides_layer = new ol.VectorLayer({ source: sides, style: (feature) => {
  const on = is_street(feature.get("side"));
  return style_of({ ...told.looks.frontage, width: on ? 9 : 5, dash: on ? [] : [9, 7] }, { words: on ? "street" : "street?" });
} });
const lot_layer = new ol.VectorLayer({ source: lot, style: style_of(told.looks.parcel) });
const drawn_layer = new ol.VectorLayer({ source, style: drawn_style, declutter: false, updateWhileInteracting: true });

const map = new ol.Map({
  target: pane, controls: [], interactions: ol.interactions({ doubleClickZoom: false, altShiftDragRotate: false, pinchRotate: false, keyboard: false, shiftDragZoom: false }),
  layers: [...Object.values(ground_layers), ...Object.values(water_layers), sides_layer, lot_layer, drawn_layer],
  view: new ol.View({ projection: plane, center: [told.extent[2] / 2, told.extent[3] / 2], resolution: 0.3, minResolution: 0.01, maxResolution: 3, enableRotation: false, constrainResolution: false }),
});
const view = map.getView();
const see_lot = () => view.fit(lot.getExtent(), { padding: [30, 30, 30, 30] });
const see_all = () => view.fit(told.extent);

const modify = new ol.Modify({ features: chosen_one, pixelTolerance: 14 });
map.addInteraction(modify);
const snaps = [source, lot].map((each) => new ol.Snap({ source: each, pixelTolerance: SNAP }));
snaps.forEach((each) => map.addInteraction(each));
modify.on("modifyend", () => {
  const feature = chosen_one.item(0);
  if (feature) put_shape(feature.getId(), feature.getGeometry());
});

function put_shape(id, geometry) {
  change((next) => {
    const shape = next.shapes.find((each) => each.id === id);
    shape.at = geometry.getCoordinates();
    if (shape.table === "house") tell_sill(shape);
  });
}
// a sill is told above the ground at its place, and kept as a level
function tell_sill(shape) {
  const ground = ground_at(shape.at);
  if (Number.isFinite(ground) && Number.isFinite(shape.props.above_ground_m)) shape.props.floor_m = Number((ground + shape.props.above_ground_m).toFixed(3));
  else delete shape.props.floor_m;
}

function redraw() {
  source.clear(true);
  source.addFeatures(state.shapes.filter(thing_of).map((shape) => {
    const feature = format.readFeature({ type: "Feature", id: shape.id, geometry: { type: shape.type, coordinates: shape.at }, properties: {} });
    feature.setId(shape.id);
    return feature;
  }));
  if (chosen !== null && !find_shape(chosen)) chosen = null;
  hold_chosen();
}
function hold_chosen() {
  chosen_one.clear();
  if (chosen !== null && !thing) chosen_one.push(source.getFeatureById(chosen));
  drawn_layer.changed();
  sides_layer.changed();
}
function choose(id) {
  chosen = id;
  hold_chosen();
  show_chosen();
}

const TYPES = { polygon: "Polygon", line: "LineString", point: "Point" };
function take_thing(next) {
  if (draw) {
    draw.abortDrawing();
    map.removeInteraction(draw);
    draw = null;
  }
  thing = next;
  by_keys = false;
  if (thing) {
    draw = new ol.Draw({ type: TYPES[thing.shape], stopClick: true, snapTolerance: SNAP, minPoints: thing.shape === "polygon" ? 3 : 2, style: sketch_style });
    draw.on("drawstart", (event) => event.feature.getGeometry().on("change", (moving) => tell_size(moving.target)));
    draw.on("drawend", (event) => add_shape(event.feature.getGeometry()));
    draw.on("drawabort", () => { by_keys = false; tell(""); });
    map.addInteraction(draw);
    // what snaps must hear of a move before what draws
    snaps.forEach((each) => { map.removeInteraction(each); map.addInteraction(each); });
    chosen = null;
  }
  hold_chosen();
  show_chosen();
  show_thing();
}
const sketch_style = [
  new ol.Style({ stroke: new ol.Stroke({ color: "#ffffff", width: 5 }), fill: new ol.Fill({ color: "rgba(0,80,125,0.15)" }) }),
  new ol.Style({ stroke: new ol.Stroke({ color: "#00507d", width: 2.5 }), image: new ol.Circle({ radius: 6, fill: new ol.Fill({ color: "#ffffff" }), stroke: new ol.Stroke({ color: "#00507d", width: 2.5 }) }) }),
];

function add_shape(geometry) {
  const id = next_id(), made = thing;
  const shape = { id, table: made.table, props: { ...made.set }, type: geometry.getType(), at: geometry.getCoordinates() };
  if (crosses(shape)) {
    tell("That outline crosses itself; draw it again.");
    by_keys = false;
    return;
  }
  change((next) => {
    if (made.most === 1) next.shapes = next.shapes.filter((each) => thing_of(each) !== made);
    next.shapes.push(shape);
  });
  by_keys = false;
  take_thing(null);
  choose(id);
  tell(made.title + " added" + (size_of(geometry) ? ": " + size_of(geometry) : "") + ".");
}

function size_of(geometry) {
  const type = geometry.getType();
  if (type.endsWith("Polygon")) return in_words(geometry.getArea(), "area");
  return type.endsWith("LineString") ? in_words(geometry.getLength(), "length") : "";
}
function tell_size(geometry) {
  const places = geometry.getType() === "Polygon" ? geometry.getCoordinates()[0].slice(0, -1) : geometry.getCoordinates();
  if (!Array.isArray(places[0])) return;
  // the last point stands where the one before does, until the pointer moves on
  const sides = places.slice(1).map((place, at) => Math.hypot(place[0] - places[at][0], place[1] - places[at][1]));
  const last = sides.filter((side) => side > 1e-6).pop() || 0;
  tell("This side " + in_words(last, "length") + (size_of(geometry) ? ", " + (geometry.getType() === "Polygon" ? "area " : "in all ") + size_of(geometry) : ""));
}

// the nearest corner, else the nearest side, within reach of the cross
function snapped(place) {
  const reach = SNAP * view.getResolution();
  let corner = null, side = null;
  for (const feature of [...source.getFeatures(), ...lot.getFeatures()]) {
    const geometry = feature.getGeometry();
    for (const each of geometry.getType() === "Point" ? [geometry.getCoordinates()] : geometry.getCoordinates().flat(geometry.getType() === "Polygon" ? 1 : 0)) {
      if (!Array.isArray(each)) continue;
      const off = Math.hypot(each[0] - place[0], each[1] - place[1]);
      if (off < reach && (!corner || off < corner.off)) corner = { off, at: each.slice(0, 2) };
    }
    const rim = geometry.getType() === "Polygon" ? new ol.LineString(geometry.getCoordinates()[0]) : geometry;
    const near = rim.getClosestPoint(place), off = Math.hypot(near[0] - place[0], near[1] - place[1]);
    if (off < reach && (!side || off < side.off)) side = { off, at: near.slice(0, 2) };
  }
  return (corner || side || { at: place }).at;
}

let keyed = [];
function place_by_key() {
  const at = snapped(view.getCenter());
  if (!thing) {
    pick_at(map.getPixelFromCoordinate(view.getCenter()), 10);
    return;
  }
  if (thing.shape === "point") {
    add_shape(new ol.Point(at));
    return;
  }
  const last = keyed[keyed.length - 1];
  if (by_keys && last && Math.hypot(last[0] - at[0], last[1] - at[1]) < 1e-6) {
    finish();
    return;
  }
  keyed = by_keys ? [...keyed, at] : [at];
  by_keys = true;
  draw.appendCoordinates([at]);
  tell("Corner " + keyed.length + " placed" + (keyed.length > 1 ? ", side " + in_words(Math.hypot(last[0] - at[0], last[1] - at[1]), "length") : "") + ". Enter again there, or Finish, ends it.");
}
function finish() {
  if (!draw) return;
  draw.finishDrawing();
}
function take_back() {
  if (!draw) return;
  keyed = keyed.slice(0, -1);
  if (by_keys && !keyed.length) draw.abortDrawing();
  else draw.removeLastPoint();
}
function remove_chosen() {
  const id = chosen;
  if (id === null) return;
  change((next) => { next.shapes = next.shapes.filter((shape) => shape.id !== id); });
  choose(null);
  tell("Removed. Undo brings it back.");
}

function tell_place(place) {
  const ground = ground_at(place);
  document.getElementById("trace-place").textContent = Number.isFinite(ground) ? "Ground " + in_words(ground, "level") : "";
}
map.on("pointermove", (event) => tell_place(event.coordinate));
map.on("click", (event) => {
  if (!thing) pick_at(event.pixel, 8);
});
// what was drawn, else a side that may face the street
function pick_at(pixel, reach) {
  const feature = map.getFeaturesAtPixel(pixel, { layerFilter: (layer) => layer === drawn_layer, hitTolerance: reach })[0];
  choose(feature ? feature.getId() : null);
  const place = map.getCoordinateFromPixel(pixel), side = feature ? null : sides.getClosestFeatureToCoordinate(place);
  if (!side) return;
  const near = side.getGeometry().getClosestPoint(place);
  if (Math.hypot(near[0] - place[0], near[1] - place[1]) <= 1.5 * reach * view.getResolution()) set_street(side.get("side"), !is_street(side.get("side")));
}

const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
pane.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const move = MOVES[event.key], size = view.getResolution();
  if (move) {
    const far = (event.shiftKey ? 2 : 24) * size, centre = view.getCenter();
    view.setCenter([centre[0] + move[0] * far, centre[1] + move[1] * far]);
    tell_place(view.getCenter());
  } else if (event.key === "+" || event.key === "=") view.setResolution(size / 1.4);
  else if (event.key === "-") view.setResolution(size * 1.4);
  else if (event.key === "Enter") place_by_key();
  else if (event.key === "Backspace" && thing) take_back();
  else if (event.key === "Escape") { if (thing) take_thing(null); else choose(null); }
  else if (event.key === "Delete") remove_chosen();
  else return;
  event.preventDefault();
});
