// Watches a replay; without it the page has a link to look again. Nothing here leaves this server.
"use strict";

const run = document.querySelector("[data-watch]");
if (run) {
  const watch = setInterval(async () => {
    if (document.hidden) return;
    try {
      const answer = await fetch(run.dataset.watch);
      if (!answer.ok) return;
      const text = await answer.text();
      if (text.includes("<progress")) {
        if (!run.contains(document.activeElement)) run.innerHTML = text;
      } else {
        clearInterval(watch);
        location.reload();
      }
    } catch { /* the server is away; the next round asks again */ }
  }, 2000);
}
