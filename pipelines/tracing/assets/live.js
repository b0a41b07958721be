// Live: each change goes to the program on this machine, which keeps it on disk and screens the newest.
(() => {
  const headers = { "x-lotshed-token": location.hash.slice(1) }, box = by_id("live-state"), text = by_id("live-answer");
  const works = new ol.VectorSource();
  map.addLayer(new ol.VectorLayer({ source: works, style: (feature) => style_of(feature.get("look"), { words: feature.get("words") }) }));
  const pipes = by_id("live-pipe"), trial_box = by_id("live-trial");
  let sent = "", sending = false, number = 0, shown = "", timer = null;
  // what is tried: the drawing and the answer before it; null where what is drawn is kept
  let tried = null, kept_told = null, seen = JSON.stringify(state), steps = past.length, compared = "";
  const lost = () => { box.textContent = "lotshed does not answer. What was drawn until then is on disk; start it again, or save the file here."; };

  async function send() {
    const way = tried ? "/trial" : "/drawing", body = JSON.stringify(collection()), now = way + body;
    if (sending || now === sent) return;
    sending = true;
    try {
      const answer = await fetch(way, { method: "POST", headers, body });
      const told_back = await answer.json();
      sent = now;
      if (told_back.fault) box.textContent = told_back.fault;
      else number = told_back.drawing;
    } catch {
      lost();
    }
    sending = false;
    // what changed meanwhile; only the newest is sent
    if (sent === now) send();
  }
  function show(told_now) {
    const answer = told_now.answer, old = !answer || answer.of !== number;
    if (told_now.fault) box.textContent = told_now.fault;
    else if (told_now.drawing === number) box.textContent = (old ? "Screening: " : (answer.trial ? "Tried, not kept. " : "") + (answer.provisional ? "Provisional, on 10 grounds; " : "On all grounds. ")) + (told_now.doing || (old ? "..." : ""));
    text.classList.toggle("old", old);
    by_id("live-hand-over").disabled = old || answer.provisional || Boolean(tried);
    if (!old && !answer.trial) kept_told = answer.told;
    show_trial(old ? null : answer);
    if (!answer || shown === answer.of + String(answer.provisional)) return;
    shown = answer.of + String(answer.provisional);
    text.textContent = answer.text;
    works.clear();
    for (const each of answer.works) {
      const feature = format.readFeature({ type: "Feature", geometry: each.geometry, properties: {} });
      feature.getGeometry().translate(-told.corner[0], -told.corner[1]);
      feature.setProperties({ look: each.look, words: each.words });
      works.addFeature(feature);
    }
  }
  // one at a time, and what else is drawn meanwhile goes with it
  function begin_trial(words) {
    if (!tried) tried = { before: seen, told: kept_told, words };
  }
  function end_trial(keep) {
    if (keep) {
      tried = null;
      changed();
    } else change((next) => Object.assign(next, JSON.parse(tried.before)));
    tell(keep ? "Kept." : "Undone: as it was before.");
    pipes.focus();
  }
  function show_trial(answer) {
    trial_box.hidden = !tried;
    if (!tried) return;
    const now = answer && answer.trial ? answer.told : null, before = tried.told || {};
    const news = JSON.stringify([tried.words, before, now, now && answer.provisional]);
    if (compared === news) return;
    compared = news;
    by_id("live-trial-words").textContent = tried.words + " is tried: nothing of it is kept yet.";
    const rows = Object.keys({ ...before, ...(now || {}) }).filter((name) => now && String(before[name]) !== String(now[name]));
    by_id("live-waits").textContent = !now ? "Screening it..." : rows.length ? (answer.provisional ? "Provisional:" : "") : "It makes no difference to what is told.";
    by_id("live-compare").hidden = !rows.length;
    by_id("live-compared").replaceChildren(...rows.map((name) => {
      const row = document.createElement("tr"), head = document.createElement("th");
      head.scope = "row";
      head.textContent = name;
      row.append(head, ...[before[name], now[name]].map((words) => {
        const cell = document.createElement("td");
        cell.textContent = (words || ["-"]).join(" ");
        return cell;
      }));
      return row;
    }));
  }
  pipes.append(new Option("as the plan sizes it", ""), ...Object.entries(told.pipes).map(([standard, keys]) => {
    const group = document.createElement("optgroup");
    group.label = standard;
    group.append(...keys.map((key) => new Option(key, key)));
    return group;
  }));
  function show_pipe() {
    const pipe = state.answers.pipe || "";
    // a site file may name one in its own words
    if (![...pipes.options].some((each) => each.value === pipe)) pipes.append(new Option(pipe, pipe));
    pipes.value = pipe;
  }
  pipes.addEventListener("change", () => {
    begin_trial(pipes.value ? pipes.value + " for all gravity lines" : "Pipe as the plan sizes it");
    change((next) => {
      if (pipes.value) next.answers.pipe = pipes.value;
      else delete next.answers.pipe;
    });
  });
  by_id("live-keep").addEventListener("click", () => end_trial(true));
  by_id("live-undo").addEventListener("click", () => end_trial(false));
  // an outfall that is moved is tried first, once there is an answer to hold it against
  const outfalls = (text) => JSON.parse(text).shapes.filter((shape) => shape.table === "outfalls");
  function see_change() {
    const now = JSON.stringify(state);
    if (tried && now === tried.before) tried = null;
    else if (kept_told && past.length > steps && now !== seen) {
      const places = new Map(outfalls(seen).map((shape) => [shape.id, JSON.stringify(shape.at)]));
      if (outfalls(now).some((shape) => places.has(shape.id) && places.get(shape.id) !== JSON.stringify(shape.at))) begin_trial("The outfall where it is now");
    }
    seen = now;
    steps = past.length;
    show_pipe();
    show_trial(null);
  }

  async function ask() {
    try {
      const answer = await fetch("/answer", { headers });
      if (answer.ok) show(await answer.json());
    } catch {
      lost();
    }
    timer = setTimeout(ask, 400);
  }
  by_id("live-hand-over").addEventListener("click", async () => {
    tell("Writing layers, tables and the report...");
    try {
      const answer = await (await fetch("/hand-over", { method: "POST", headers })).json();
      tell(answer.fault || "Written into the folder " + answer.folder + " beside the site file.");
    } catch {
      lost();
    }
  });
  listeners.push(see_change);
  show_pipe();
  listeners.push(() => { clearTimeout(by_id("live").waiting); by_id("live").waiting = setTimeout(send, 100); });
  send();
  ask();
})();
