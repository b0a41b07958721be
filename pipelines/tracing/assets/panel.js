// Beside the map: what can be drawn, what is asked of it, the questions, and the file.
const by_id = (name) => document.getElementById(name);
const says = by_id("trace-says");
function tell(words) { says.textContent = words; }

for (const button of document.querySelectorAll("[data-thing]")) {
  button.addEventListener("click", () => {
    const next = told.things.find((each) => each.key === button.dataset.thing);
    take_thing(thing === next ? null : next);
    if (thing) {
      pane.scrollIntoView({ block: "nearest" });
      pane.focus({ preventScroll: true });
    }
  });
}
function show_thing() {
  for (const button of document.querySelectorAll("[data-thing]")) button.setAttribute("aria-pressed", String(Boolean(thing) && thing.key === button.dataset.thing));
  by_id("while-drawing").hidden = !thing;
  for (const name of ["trace-finish", "trace-back"]) by_id(name).hidden = Boolean(thing) && thing.shape === "point";
  if (thing) tell(thing.title + ": " + thing.hint);
}

// a field as a label and what one fills in; `put` takes what it says, undefined for nothing
function field_for(field, value, put, prefix) {
  const id = prefix + "-" + field.name, row = document.createElement("p"), label = document.createElement("label");
  label.htmlFor = id;
  label.textContent = field.ask + (field.unit ? " (" + field.unit + ")" : "");
  let input;
  if (field.form === "choice") {
    input = document.createElement("select");
    const offered = Object.entries(field.choices);
    if (!field.needed) offered.unshift(["", "not said"]);
    for (const [code, words] of offered) input.append(new Option(words, code));
    input.value = value === undefined || value === null ? "" : String(value);
  } else {
    input = document.createElement("input");
    input.type = { yes_no: "checkbox", date: "date" }[field.form] || "text";
    if (field.form === "number" || field.form === "length") input.inputMode = "decimal";
    if (field.form === "text") input.maxLength = 200;
    if (field.form === "yes_no") input.checked = value === true;
    else if (field.form === "length") input.value = Number.isFinite(value) ? String(Number((value / field.one).toFixed(field.decimals + 1))) : "";
    else input.value = value === undefined || value === null ? "" : String(value);
  }
  input.id = id;
  input.addEventListener("change", () => {
    const text = input.value.trim(), one = field.form === "length" ? field.one : 1;
    if (field.form === "yes_no") return put(input.checked);
    if (field.form !== "number" && field.form !== "length") return put(text || undefined);
    const number = Number(text) * one, least = field.least ?? 0, most = field.most ?? Infinity;
    const fits = text === "" || (Number.isFinite(number) && number >= least && number <= most);
    input.setAttribute("aria-invalid", String(!fits));
    if (!fits) return tell(field.ask + ": \u201c" + text.slice(0, 20) + "\u201d is no number from " + Number((least / one).toFixed(1)) + (Number.isFinite(most) ? " to " + Number((most / one).toFixed(1)) : "") + (field.unit ? " " + field.unit : "") + ".");
    return put(text === "" ? undefined : Number(number.toFixed(5)));
  });
  if (field.form === "yes_no") row.append(input, " ", label);
  else row.append(label, input);
  return row;
}

function sides_for(field) {
  const box = document.createElement("fieldset"), legend = document.createElement("legend");
  legend.textContent = field.ask;
  box.append(legend, ...[...new Set(told.sides.map(({ side }) => side))].map((side) => {
    const label = document.createElement("label"), input = document.createElement("input");
    input.type = "checkbox";
    input.id = "ask-side-" + side;
    input.checked = is_street(side);
    input.addEventListener("change", () => set_street(side, input.checked));
    label.append(input, " " + side);
    return label;
  }));
  return box;
}

function name_of(shape) {
  const its = thing_of(shape), kind = shape.props.kind && !its.set.kind?.includes(shape.props.kind) ? " (" + String(shape.props.kind).slice(0, 30) + ")" : "";
  return its.title + kind + ", no. " + shape.id;
}
// what the fields show; they are made anew only where that changes from elsewhere, so that nobody loses their place
let fields_show = "", questions_show = "";
const shown_of = (shape) => JSON.stringify([shape.id, shape.props]);
function show_chosen() {
  const shape = chosen === null ? undefined : find_shape(chosen), box = by_id("chosen");
  by_id("pick").value = shape ? String(shape.id) : "";
  box.hidden = !shape;
  if (!shape) {
    fields_show = "";
    return;
  }
  const its = thing_of(shape), feature = source.getFeatureById(shape.id), size = size_of(feature.getGeometry());
  by_id("chosen-title").textContent = name_of(shape);
  by_id("chosen-size").textContent = [size, crosses(shape) ? "The outline crosses itself: move a corner." : "",
    its.table === "house" && Number.isFinite(shape.props.floor_m) ? "Sill at " + in_words(shape.props.floor_m, "level") + "." : ""].filter(Boolean).join(" ");
  const corners = shape.type === "Polygon" ? shape.at[0].length - 1 : shape.type === "LineString" ? shape.at.length : shape.type === "Point" ? 1 : 0;
  by_id("corner").replaceChildren(...Array.from({ length: corners }, (_, at) => new Option(shape.type === "Point" ? "the point" : "corner " + (at + 1), at)));
  by_id("corners").hidden = corners === 0;
  by_id("corner-remove").disabled = corners <= (shape.type === "Polygon" ? 3 : 2);
  if (fields_show === shown_of(shape)) return;
  fields_show = shown_of(shape);
  by_id("chosen-fields").replaceChildren(...its.field.map((field) => field_for(field, shape.props[field.column], (value) => change((next) => {
    const now = next.shapes.find((each) => each.id === shape.id);
    if (value === undefined) delete now.props[field.column];
    else now.props[field.column] = value;
    if (now.table === "house") tell_sill(now);
    fields_show = shown_of(now);
  }), "one")));
}
function correct_corner(remove) {
  const shape = find_shape(chosen), at = Number(by_id("corner").value), place = view.getCenter();
  change((next) => {
    const now = next.shapes.find((each) => each.id === shape.id);
    if (now.type === "Point") now.at = place;
    else {
      const ring = now.type === "Polygon" ? now.at[0] : now.at;
      if (remove) ring.splice(at, 1);
      else ring[at] = snapped(place);
      if (now.type === "Polygon") ring[ring.length - 1] = at === 0 && remove ? (ring.pop(), ring.push(ring[0]), ring[0]) : ring[0];
    }
    if (now.table === "house") tell_sill(now);
  });
  tell(remove ? "Corner removed." : "Moved to the cross.");
}

function show_list() {
  const groups = new Map();
  for (const shape of state.shapes.filter(thing_of)) groups.set(thing_of(shape).title, [...(groups.get(thing_of(shape).title) || []), shape]);
  const listed = [...groups].map(([title, shapes]) => {
    const group = document.createElement("optgroup");
    group.label = title;
    group.append(...shapes.map((shape) => new Option(name_of(shape), shape.id)));
    return group;
  });
  by_id("pick").replaceChildren(new Option(state.shapes.some(thing_of) ? "Choose\u2026" : "Nothing is drawn yet", ""), ...listed);
  by_id("pick").value = chosen === null ? "" : String(chosen);
}
function show_questions() {
  if (questions_show === JSON.stringify(state.answers)) return;
  questions_show = JSON.stringify(state.answers);
  by_id("asked").replaceChildren(...told.questions.map((field) => {
    const answer = state.answers[field.name];
    if (field.form === "sides") return sides_for(field);
    return field_for(field, field.form === "length" && answer ? parseFloat(answer) : answer, (value) => change((next) => {
      if (value === undefined) delete next.answers[field.name];
      else next.answers[field.name] = field.form === "length" ? value.toFixed(4) + " m" : value;
      questions_show = JSON.stringify(next.answers);
    }), "ask");
  }));
}
function show_file() {
  const tables = replaced(), count = state.shapes.filter((shape) => tables.includes(shape.table)).length;
  by_id("replaces").textContent = tables.length
    ? "The file will hold " + count + (count === 1 ? " shape" : " shapes") + " and stand in place of: " + tables.join(", ") + ". Other tables stay as the site file has them."
    : "Nothing is drawn or corrected yet; all tables stay as the site file has them.";
  by_id("trace-undo").disabled = !past.length;
  by_id("trace-redo").disabled = !ahead.length;
}
listeners.push(redraw, show_list, show_chosen, show_questions, show_file);

by_id("pick").addEventListener("change", (event) => {
  if (thing) take_thing(null);
  choose(event.target.value ? Number(event.target.value) : null);
  if (chosen !== null) view.setCenter(middle_of(source.getFeatureById(chosen).getGeometry()));
});
const pressed = {
  "zoom-in": () => view.setResolution(view.getResolution() / 1.5), "zoom-out": () => view.setResolution(view.getResolution() * 1.5),
  "see-lot": see_lot, "see-all": see_all, "trace-undo": undo_told, "trace-redo": () => redo() && tell("Done again."),
  "trace-finish": finish, "trace-back": take_back, "trace-cancel": () => take_thing(null), "chosen-remove": remove_chosen,
  "corner-move": () => correct_corner(false), "corner-remove": () => correct_corner(true), "trace-save": save,
  "trace-again": () => { change((next) => Object.assign(next, structuredClone(first))); tell("As the site file has it. Undo brings your drawing back."); },
};
function undo_told() {
  if (thing && draw && keyed.length && by_keys) take_back();
  else if (undo()) tell("Undone.");
}
for (const [name, work] of Object.entries(pressed)) by_id(name).addEventListener("click", work);
document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.target.matches("input[type=text], input[type=date]")) return;
  const key = event.key.toLowerCase();
  if (key === "z" && !event.shiftKey) undo_told();
  else if (key === "y" || (key === "z" && event.shiftKey)) redo();
  else if (key === "s") save();
  else return;
  event.preventDefault();
});
for (const box of document.querySelectorAll("[data-shown]")) {
  const layer = ground_layers[box.dataset.shown] || water_layers[box.dataset.shown];
  box.addEventListener("change", () => layer.setVisible(box.checked));
}

function save() {
  const wrong = state.shapes.find((shape) => thing_of(shape) && crosses(shape));
  if (wrong) {
    choose(wrong.id);
    return tell(name_of(wrong) + " crosses itself: move a corner, then save.");
  }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([JSON.stringify(collection()) + "\n"], { type: "application/geo+json" }));
  link.download = "traced.geojson";
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  return tell("Saved traced.geojson. Put it beside the site file.");
}
by_id("trace-open").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  if (!file) return;
  try {
    if (file.size > MOST_BYTES) throw new Error("it is larger than 20 MB");
    const count = open_text(await file.text());
    tell("Opened " + file.name + ": " + count + (count === 1 ? " shape." : " shapes."));
  } catch (error) {
    tell(file.name + " can't be opened: " + (error instanceof SyntaxError ? "it is no GeoJSON" : error.message) + ".");
  }
  event.target.value = "";
});

const before = kept_before();
if (before) state = before.state;
changed();
see_lot();
take_thing(null);
tell(before ? "Your drawing of " + new Date(before.saved).toLocaleString() + " is back. \u201cStart again\u201d drops it." : "Choose what to draw, then tap its corners on the map.");
