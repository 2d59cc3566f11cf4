// Forms on a bad line: what is typed is kept in this browser until it has landed, and what could not be sent is sent
// again by itself, once: the form's key lets the server know it. Every page works without this.
"use strict";

const RETRY_MS = 10000;
const kept = (form) => `field ${new URL(form.action).pathname}`;
const slot = (field) => field.type === "radio" ? `${field.name}=${field.value}` : field.name;
const fields = (form) => form.querySelectorAll("input:not([type=hidden], [type=file]), textarea, select");

for (const form of document.querySelectorAll("form[data-keep]")) keep(form);

function keep(form) {
  const note = form.querySelector("[data-note]");
  const before = read(form);
  if (before && before.base === form.dataset.keep) {
    if (before.key) form.elements.key.value = before.key;
    for (const field of fields(form)) put(field, before.values[slot(field)]);
  }
  form.addEventListener("input", () => write(form));
  form.addEventListener("change", () => write(form));
  form.addEventListener("submit", (event) => {
    if (event.submitter && event.submitter.hasAttribute("formaction")) return;
    event.preventDefault();
    write(form);
    send(form, event.submitter, note);
  });
  const price = form.querySelector("[data-price]");
  if (price) priceWhileTyping(form, price);
}

function put(field, value) {
  if (value === undefined) return;
  if (field.type === "checkbox" || field.type === "radio") field.checked = value === true;
  else field.value = value;
}

function read(form) {
  try { return JSON.parse(localStorage.getItem(kept(form))); } catch { return null; }
}

function write(form) {
  const values = {};
  for (const field of fields(form)) values[slot(field)] = field.matches("[type=checkbox], [type=radio]") ? field.checked : field.value;
  localStorage.setItem(kept(form), JSON.stringify({ base: form.dataset.keep, key: form.elements.key.value, values }));
}

// Sent until the server has answered: the same body under the same key, so that it happens once.
async function send(form, button, note) {
  if (form.dataset.busy) return;
  form.dataset.busy = "1";
  const body = new FormData(form);
  if (button && button.name) body.append(button.name, button.value);
  for (;;) {
    try {
      note.textContent = note.dataset.sending;
      const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "text/html" } });
      if (answer.status >= 500) throw new Error(String(answer.status));
      delete form.dataset.busy;
      if (answer.redirected) {
        if (!new URL(answer.url).pathname.startsWith("/sign-in")) localStorage.removeItem(kept(form));
        return location.assign(answer.url);
      }
      const next = new DOMParser().parseFromString(await answer.text(), "text/html");
      document.querySelector("main").replaceWith(document.adoptNode(next.querySelector("main")));
      for (const again of document.querySelectorAll("form[data-keep]")) keep(again);
      const wrong = document.querySelector(".problems");
      if (wrong) wrong.scrollIntoView();
      return;
    } catch {
      note.textContent = note.dataset.away;
      await new Promise((done) => {
        const timer = setTimeout(done, RETRY_MS);
        addEventListener("online", () => { clearTimeout(timer); done(); }, { once: true });
      });
    }
  }
}

// The lines priced by the agreement as they are typed.
function priceWhileTyping(form, place) {
  let asked = 0, timer;
  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(async () => {
      const number = ++asked;
      try {
        const answer = await fetch(place.dataset.price, { method: "POST", body: new FormData(form) });
        if (answer.ok && number === asked) place.innerHTML = await answer.text();
      } catch { /* no line: it is priced when it is sent */ }
    }, 250);
  });
}
