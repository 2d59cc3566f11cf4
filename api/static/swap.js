// The next page of the desk takes this one's place without a page load: answers, checks, links. The same addresses
// and pages are used as without scripts; where anything is unusual, the browser does what it would do anyway.
"use strict";

const DESK = /^\/(find|report|language|machines\/[^/]+|tickets\/[^/]+(\/(end|end\/[a-z-]+|answers|checks|undo|details|nothing-known|details|nothing-known|read-out|dangers\/[^/]+\/lift))?)?$/;
const ROOT = document.querySelector("header .name").pathname.slice(0, -1);  // where a proxy serves this program
const onDesk = (url) => "desk" in document.body.dataset && url.origin === location.origin &&
  url.pathname.startsWith(ROOT) && DESK.test(url.pathname.slice(ROOT.length));
let underway = false;

document.addEventListener("submit", (event) => {
  const form = event.target, button = event.submitter;
  const url = new URL(form.getAttribute("action") || location.pathname, location.href);
  if (event.defaultPrevented || !onDesk(url)) return;
  event.preventDefault();
  const fields = new URLSearchParams(new FormData(form));
  if (button && button.name) fields.append(button.name, button.value);
  if (form.method !== "get") return load(url, { method: "POST", body: fields }, form, button);
  url.search = fields;
  load(url);
});

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href]");
  if (!link || event.defaultPrevented || event.button || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
  const url = new URL(link.href);
  if (url.hash || !onDesk(url)) return;
  event.preventDefault();
  load(url);
});

addEventListener("popstate", () => load(new URL(location.href), {}, null, null, true));

// One at a time: what is pressed twice is sent once.
async function load(url, request = {}, form = null, button = null, back = false) {
  if (underway) return;
  underway = true;
  document.querySelector("main").setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(url, { ...request, headers: { Accept: "text/html" } });
    const next = new DOMParser().parseFromString(await answer.text(), "text/html");
    const there = new URL(answer.url);
    if (!next.querySelector("main") || there.pathname === `${ROOT}/sign-in`) return leave(there, form, button);
    show(next);
    if (!back && !(form && !answer.redirected)) history[there.href === location.href ? "replaceState" : "pushState"](null, "", there);
    document.dispatchEvent(new Event("desk:page"));
  } catch {
    document.dispatchEvent(new Event("desk:away"));
  } finally {
    underway = false;
    document.querySelector("main").removeAttribute("aria-busy");
  }
}

function show(next) {
  document.title = next.title;
  document.documentElement.lang = next.documentElement.lang;
  document.documentElement.dataset.scheme = next.documentElement.dataset.scheme || "";
  document.body.replaceWith(document.adoptNode(next.body));
  scrollTo(0, 0);
}

// Not a page of the desk, such as the sign-in form: the browser goes there itself, and sends what was to be sent.
function leave(there, form, button) {
  if (!form) return location.assign(there);
  if (button && button.name) {
    const field = document.createElement("input");
    Object.assign(field, { type: "hidden", name: button.name, value: button.value });
    form.append(field);
  }
  form.submit();
}
