// Makes the desk quicker; every page works without it. Nothing here leaves this server.
"use strict";

// Answers by number, while the focus is in the question, the check or the list they belong to.
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !/^[0-9]$/.test(event.key)) return;
  const at = event.target;
  if (at.matches("input, textarea, select")) return;
  const group = at.closest("[data-keys]");
  const chosen = group && group.querySelector(`[data-key="${event.key}"]`);
  if (chosen) { event.preventDefault(); chosen.click(); }
});

// The call page with a danger on it: the focus goes to the work only where that scrolls nothing away.
for (const place of document.querySelectorAll("[data-focus]")) {
  const { top, bottom } = place.getBoundingClientRect();
  if (top >= 0 && bottom <= innerHeight || place.closest("[data-stop]")) place.focus({ preventScroll: true });
}

// A stop: Enter does nothing, R says that the text was read out once all of it was on the screen.
const stop = document.querySelector("[data-stop]");
if (stop) {
  history.scrollRestoration = "manual";
  const form = stop.querySelector("form[data-confirm]");
  const status = form.querySelector("[role=status]");
  const unseen = new Set(stop.querySelectorAll("[data-sentence]"));
  const seen = new IntersectionObserver((entries) => {
    for (const { target, intersectionRatio, intersectionRect } of entries) {
      if (intersectionRatio < 0.95 && intersectionRect.height < innerHeight / 2) continue;
      unseen.delete(target);
      seen.unobserve(target);
    }
    form.dataset.ready = String(!unseen.size);
    if (!unseen.size) status.textContent = "";
  }, { threshold: [0, 0.25, 0.5, 0.75, 0.95, 1] });
  for (const sentence of unseen) seen.observe(sentence);
  for (const part of stop.querySelectorAll("[data-script]")) part.hidden = false;
  form.addEventListener("submit", (event) => {
    if (!unseen.size) return;
    event.preventDefault();
    status.textContent = status.dataset.early;
  });
  stop.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && !event.target.closest("a, summary")) event.preventDefault();
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
    if (event.target.matches("input:not([type=checkbox])")) return;
    const key = event.key.toUpperCase();
    const opened = stop.querySelector(`[data-open-by="${CSS.escape(key)}"]`);
    if (opened) {
      opened.open = true;
      opened.querySelector("button").focus();
    } else if (key === "R") {
      form.elements.said.checked = !unseen.size;
      if (unseen.size) status.textContent = status.dataset.early;
      else form.requestSubmit();
    }
  });
}

// Machines while one types.
const field = document.querySelector("[data-find]");
if (field) {
  let asked = 0;
  let timer;
  field.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(async () => {
      const number = ++asked;
      const answer = await fetch(`${field.dataset.find}?part=1&q=${encodeURIComponent(field.value)}`);
      if (answer.ok && number === asked) document.getElementById("found").innerHTML = await answer.text();
    }, 120);
  });
}

// What is typed outlives a reload and a server that is away: kept in this browser until it has landed.
const page = document.querySelector("main").dataset.version || "";
const store = window.localStorage;
for (const key of Object.keys(store)) {
  if (!key.startsWith("draft ")) continue;
  const [, path, version] = key.split(" ");
  if (path === location.pathname && version !== page) store.removeItem(key);
  if (path === "/report" && page) store.removeItem(key);
}
for (const form of document.querySelectorAll("form[data-draft]")) {
  const subject = form.elements.fact ? form.elements.fact.value : "";
  for (const input of form.querySelectorAll("input:not([type=hidden]):not([type=checkbox]), textarea")) {
    const key = `draft ${location.pathname} ${page} ${subject} ${input.name}`;
    if (!input.value && store.getItem(key)) input.value = store.getItem(key);
    input.addEventListener("input", () => store.setItem(key, input.value));
  }
}

for (const button of document.querySelectorAll("[data-copy]")) {
  button.hidden = false;
  button.addEventListener("click", async () => {
    const text = document.getElementById(button.dataset.copy);
    text.select();
    try { await navigator.clipboard.writeText(text.value); } catch { document.execCommand("copy"); }
    button.textContent = button.dataset.done;
  });
}

// Who else has the ticket open, and whether it has moved on.
const call = document.querySelector("main[data-news]");
if (call) {
  const here = document.getElementById("here");
  setInterval(async () => {
    if (document.hidden) return;
    try {
      const answer = await fetch(call.dataset.news);
      if (!answer.ok) return;
      const news = await answer.json();
      const text = news.others.length ? `${news.others.join(", ")} ${here.dataset.one}` : "";
      const moved = String(news.version) !== page;
      if (here.dataset.shown === text + moved) return;
      here.dataset.shown = text + moved;
      here.textContent = moved ? `${text ? text + ". " : ""}${here.dataset.moved} ` : text;
      if (moved) {
        const link = document.createElement("a");
        link.href = location.pathname;
        link.textContent = here.dataset.reload;
        here.append(link);
      }
    } catch { /* the server is away; the next round asks again */ }
  }, 10000);
}
