// Makes the desk quicker; every page works without it. Nothing here leaves this server.
"use strict";

// Keys, while no field has the focus: digits answer, letters do what their button says. A key that is held down does
// nothing more, so that it never answers the question after.
const TYPED = "input:not([type=checkbox], [type=radio]), textarea, select";
const keysOff = () => localStorage.getItem("keys") === "off";
document.addEventListener("keydown", (event) => {
  const at = event.target, key = event.key.toLowerCase();
  if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || keysOff()) return;
  if (at.matches(TYPED)) return key === "escape" && !at.matches("[type=search]") ? at.blur() : undefined;
  if (event.repeat) return key.length === 1 ? event.preventDefault() : undefined;
  const group = at.closest("[data-keys]") || document.querySelector(".now[data-keys], form[data-intake]");
  const pressed = at.matches("a, button, summary, input");
  const chosen = /^[0-9]$/.test(key) ? group && group.querySelector(`[data-key="${key}"]`)
    : key === " " ? !pressed && document.querySelector("[data-next]:not([hidden])")
    : /^[a-zñáéíóú]$/.test(key) && document.querySelector("[data-letters]") ||
      key === "/" && document.querySelector("main [data-find]") || key.length === 1 && document.querySelector(`[data-hot="${CSS.escape(key)}"]`);
  if (!chosen) return;
  if (!chosen.matches("[data-letters]")) event.preventDefault();  // else the letter lands in the field
  const box = chosen.matches("[type=checkbox], [type=radio]");
  if (chosen.matches("input:not([type=checkbox], [type=radio]), textarea, summary")) chosen.focus();
  if (box || !chosen.matches("input, textarea")) chosen.click();
});

// Everything below is done for each page that comes to stand here.
function start() {
  const main = document.querySelector("main");
  for (const part of document.querySelectorAll("[data-script]")) part.hidden = false;
  focusIn(main);
  const stop = main.querySelector("[data-stop]");
  if (stop) watchStop(stop);
  sayLines(main);
  keepDrafts(main.dataset.version || "");
  for (const button of main.querySelectorAll("[data-copy]")) {
    button.hidden = false;
    button.addEventListener("click", () => copy(button));
  }
  for (const button of main.querySelectorAll("[data-print]")) {
    button.hidden = false;
    button.addEventListener("click", () => print());
  }
  const field = main.querySelector("[data-find]");
  if (field) findWhileTyping(field);
  const intake = main.querySelector("[data-intake]");
  if (intake) hearWhileTyping(intake);
  const off = document.querySelector("[data-keys-off]");
  if (off) {
    off.checked = keysOff();
    off.addEventListener("change", () => localStorage.setItem("keys", off.checked ? "off" : "on"));
  }
}
document.addEventListener("desk:page", start);
document.addEventListener("desk:away", () => {
  const away = document.getElementById("away");
  if (!away) return;
  away.textContent = away.dataset.away;
  away.scrollIntoView({ block: "nearest" });
});

// The focus goes to what is to be done now, and only where that scrolls nothing away.
function focusIn(main) {
  const place = main.querySelector("[data-focus], [autofocus]");
  if (!place) return;
  const { top, bottom } = place.getBoundingClientRect();
  if (top >= 0 && bottom <= innerHeight || place.closest("[data-stop]")) place.focus({ preventScroll: true });
}

// A check is said line by line: the line being said stands on top in large letters and is marked in the list.
function sayLines(main) {
  const lines = [...main.querySelectorAll("[data-say]")], next = main.querySelector("[data-next]");
  if (!next) return;
  const saying = main.querySelector("[data-saying]");
  const say = (at) => {
    lines.forEach((line, place) => {
      line.classList.toggle("done", place < at);
      if (place === at) line.setAttribute("aria-current", "step");
      else line.removeAttribute("aria-current");
    });
    const folded = lines[at].closest("details");
    if (folded) folded.open = true;
    const list = lines[at].closest(".together, .lines");
    if (list && list.scrollHeight > list.clientHeight) lines[at].scrollIntoView({ block: "nearest" });
    const said = lines[at].querySelector("[lang]");
    saying.textContent = said.textContent;
    saying.lang = said.lang;
    const other = saying.parentElement.querySelector(".other"), beside = lines[at].querySelector(".other");
    if (other) other.textContent = beside ? beside.textContent : "";
    saying.classList.toggle("long", said.textContent.length > 80);
    main.querySelector("[data-said-number]").textContent = at + 1;
    next.hidden = at === lines.length - 1;
  };
  next.hidden = lines.length < 2;
  next.addEventListener("click", () => {
    say(lines.findIndex((line) => line.hasAttribute("aria-current")) + 1);
    saying.focus({ preventScroll: true });
  });
  lines.forEach((line, at) => line.addEventListener("click", () => say(at)));
}

// A stop: Enter does nothing, R says that the text was read out once all of it was on the screen.
function watchStop(stop) {
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
function findWhileTyping(field) {
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

// What is heard of a new report while one types. Enter leads from the words to what is still open: a danger to be
// answered, else the button that starts the call; there digits tick the chips.
function hearWhileTyping(form) {
  const words = form.elements.note, place = document.getElementById("understood");
  let asked = 0, timer, heard = words.value;
  form.querySelector("[data-match]").hidden = true;
  const box = form.querySelector("[data-box]");
  const mark = () => {
    const marks = place.querySelector("[data-marks]"), said = marks ? marks.textContent : "";
    const lead = words.value.length - words.value.trimStart().length, shown = box.dataset.said || "";
    if (marks && words.value.trim() === said) {
      marks.hidden = true;
      box.replaceChildren(words.value.slice(0, lead), ...marks.cloneNode(true).childNodes, " ");
      box.dataset.said = said;
    } else if (!shown || !words.value.slice(lead).startsWith(shown)) box.replaceChildren();
    box.scrollTop = words.scrollTop;
  };
  words.addEventListener("scroll", () => { box.scrollTop = words.scrollTop; });
  mark();
  const hear = async () => {
    clearTimeout(timer);
    const number = ++asked, fields = new URLSearchParams(new FormData(form)), at = document.activeElement;
    fields.append("match", "1");
    fields.append("part", "1");
    heard = words.value;
    try {
      const answer = await fetch(form.action, { method: "POST", body: fields });
      if (!answer.ok || number !== asked || !form.isConnected) return;
      const opened = place.querySelector("details[open]");
      place.innerHTML = await answer.text();
      for (const part of place.querySelectorAll("[data-script]")) part.hidden = false;
      mark();
      if (opened) place.querySelector("details").open = true;
      if (!at.isConnected) {
        const same = at.name && [...place.querySelectorAll(`[name="${CSS.escape(at.name)}"]`)];
        const there = same && (same.find((one) => one.value === at.value && one.type !== "hidden") || same.find((one) => one.type !== "hidden"));
        (there || form.querySelector("[data-begin]")).focus({ preventScroll: true });
      }
    } catch { document.dispatchEvent(new Event("desk:away")); }
  };
  words.addEventListener("input", () => { mark(); clearTimeout(timer); timer = setTimeout(hear, 200); });
  words.addEventListener("keydown", async (event) => {
    if (event.key !== "Enter" || event.shiftKey || event.isComposing) return;
    event.preventDefault();
    if (words.value !== heard) await hear();
    toOpen();
  });
  const toOpen = () => {
    const danger = [...place.querySelectorAll(".heard fieldset")].find((each) => !each.querySelector(":checked"));
    (danger ? danger.querySelector("[type=radio]") : form.querySelector("[data-begin]")).focus();
  };
  place.addEventListener("change", async (event) => {
    if (!event.target.matches("[type=radio]")) return;
    const danger = event.target.closest(".heard");
    await hear();
    if (danger) toOpen();
  });
  // Enter in a small field or on a box hears again; only the button itself starts the call.
  form.addEventListener("submit", (event) => {
    if (!event.submitter || !event.submitter.matches("[data-match]")) return;
    event.preventDefault();
    hear().then(toOpen);
  });
}

// What is typed outlives a reload and a server that is away: kept in this browser until it has landed.
function keepDrafts(page) {
  const store = window.localStorage;
  for (const key of Object.keys(store)) {
    if (!key.startsWith("draft ")) continue;
    const [, path, version] = key.split(" ");
    if (path === location.pathname && version !== page) store.removeItem(key);
    if (path.endsWith("/report") && page) store.removeItem(key);
  }
  for (const form of document.querySelectorAll("form[data-draft]")) {
    const subject = form.elements.fact ? form.elements.fact.value : "";
    for (const input of form.querySelectorAll("input:not([type=hidden], [type=checkbox], [type=radio]), textarea")) {
      const key = `draft ${location.pathname} ${page} ${subject} ${input.name}`;
      if (!input.value && store.getItem(key)) input.value = store.getItem(key);
      input.addEventListener("input", () => store.setItem(key, input.value));
    }
  }
}

async function copy(button) {
  const text = document.getElementById(button.dataset.copy);
  text.select();
  try { await navigator.clipboard.writeText(text.value); } catch { document.execCommand("copy"); }
  button.textContent = button.dataset.done;
}

// The queue as it is now: times count down, tickets come and go. What is opened stays so, and the focus where it was.
setInterval(async () => {
  const lanes = document.querySelector("main[data-live] [data-lanes]");
  if (!lanes || document.hidden) return;
  try {
    const answer = await fetch(location.href);
    const next = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("[data-lanes]");
    if (!next || !lanes.isConnected || next.innerHTML === lanes.dataset.shown) return;
    const at = lanes.contains(document.activeElement) && document.activeElement.getAttribute("href");
    const opened = [...lanes.querySelectorAll("details[open]")].map((each) => each.closest("section").getAttribute("aria-labelledby"));
    lanes.dataset.shown = next.innerHTML;
    lanes.innerHTML = next.innerHTML;
    for (const lane of opened) for (const each of lanes.querySelectorAll(`[aria-labelledby="${lane}"] details`)) each.open = true;
    if (at) (lanes.querySelector(`.press[href="${CSS.escape(at)}"]`) || lanes.querySelector("a")).focus({ preventScroll: true });
  } catch { /* the server is away; the next round asks again */ }
}, 15000);

// Who else has the ticket open, and whether it has moved on.
setInterval(async () => {
  const call = document.querySelector("main[data-news]");
  if (!call || document.hidden) return;
  try {
    const answer = await fetch(call.dataset.news);
    if (!answer.ok || !call.isConnected) return;
    const news = await answer.json();
    const here = document.getElementById("here");
    const text = news.others.length ? `${news.others.join(", ")} ${here.dataset.one}` : "";
    const moved = String(news.version) !== call.dataset.version;
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

start();
