"use strict";
// The page holds the lot's data, so it is fetched with the token that stands in the address alone.
(async () => {
  const token = location.hash.slice(1), say = (words) => { document.getElementById("wait").textContent = words; };
  try {
    const answer = await fetch("/page", { headers: { "x-lotshed-token": token } });
    if (!answer.ok) return say("This address holds no token that is known: open the one that lotshed printed.");
    const text = await answer.text();
    document.open();
    document.write(text);
    document.close();
  } catch {
    say("lotshed does not answer: is it still running?");
  }
  return undefined;
})();
