// Live: each change goes to the program on this machine, which keeps it on disk and screens the newest.
(() => {
  const headers = { "x-lotshed-token": location.hash.slice(1) }, box = by_id("live-state"), text = by_id("live-answer");
  const works = new ol.VectorSource();
  map.addLayer(new ol.VectorLayer({ source: works, style: (feature) => style_of(feature.get("look"), { words: feature.get("words") }) }));
  let sent = "", sending = false, number = 0, shown = "", timer = null;
  const lost = () => { box.textContent = "lotshed does not answer. What was drawn until then is on disk; start it again, or save the file here."; };

  async function send() {
    const now = JSON.stringify(collection());
    if (sending || now === sent) return;
    sending = true;
    try {
      const answer = await fetch("/drawing", { method: "POST", headers, body: now });
      const told_back = await answer.json();
      sent = now;
      if (told_back.fault) box.textContent = told_back.fault;
      else number = told_back.drawing;
    } catch {
      lost();
    }
    sending = false;
    // what changed meanwhile; only the newest is sent
    if (sent === now && JSON.stringify(collection()) !== now) send();
  }
  function show(told_now) {
    const answer = told_now.answer, old = !answer || answer.of !== number;
    if (told_now.fault) box.textContent = told_now.fault;
    else if (told_now.drawing === number) box.textContent = (old ? "Screening: " : answer.provisional ? "Provisional, on 10 grounds; " : "On all grounds. ") + (told_now.doing || (old ? "..." : ""));
    text.classList.toggle("old", old);
    by_id("live-hand-over").disabled = old || answer.provisional;
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
  listeners.push(() => { clearTimeout(by_id("live").waiting); by_id("live").waiting = setTimeout(send, 100); });
  send();
  ask();
})();
