// The form of a rulebook's file: checked after each change, cells pasted from a spreadsheet, arrows between rows.
// Without it everything works by the form's buttons. Nothing here leaves this server.
"use strict";

(() => {
  let form = document.getElementById("form");
  if (!form) return;
  let asking = 0;
  let edits = 0;
  let asked = false;
  let leaving = false;

  async function send(address, action) {
    const body = new FormData(form);
    body.set("action", action);
    const answer = await fetch(address, { method: "POST", body });
    if (answer.redirected || !answer.headers.get("Content-Type").startsWith("text/html")) throw new Error("signed out");
    return answer.text();
  }

  // One question at a time, always about the newest form: saving never waits behind forms that are gone.
  async function check() {
    asking += 1;
    if (asked) return;
    asked = true;
    for (let last = 0; last !== asking;) {
      last = asking;
      await judge(last);
    }
    asked = false;
  }

  // The page as the server makes it after a change takes the place of this one, unless one typed on meanwhile.
  async function judge(mine) {
    const seen = edits;
    const status = document.getElementById("status");
    try {
      const made = new DOMParser().parseFromString(await send(form.getAttribute("action"), "check"), "text/html").getElementById("form");
      if (mine !== asking || seen !== edits || !made) return;
      const name = document.activeElement && document.activeElement.name;
      const shown = document.getElementById("would").innerHTML;
      const open = new Map([...form.querySelectorAll("details")].map((each, index) => [index, each.open]));
      const scrolled = [...form.querySelectorAll(".scroll")].map((each) => each.scrollLeft);
      form.replaceWith(made);
      form = made;
      form.querySelectorAll("details").forEach((each, index) => { if (open.get(index)) each.open = true; });
      form.querySelectorAll(".scroll").forEach((each, index) => { each.scrollLeft = scrolled[index] || 0; });
      const sound = document.getElementById("status").dataset.state === "sound";
      if (sound) form.querySelector("#would").innerHTML = shown;  // else nothing is known of this text
      const back = name && form.elements.namedItem(name);
      if (back && back.focus) back.focus({ preventScroll: true });
      listen();
      if (sound) await tryOut(mine);
    } catch (error) {
      status.textContent = form.dataset.lost;
      status.dataset.state = "unknown";
    }
  }

  async function tryOut(mine) {
    try {
      const part = await send(form.dataset.would, "would");
      if (mine === asking) document.getElementById("would").innerHTML = part;
    } catch { /* the button says it, too */ }
  }

  function cellsOf(row) {
    return [...row.querySelectorAll("td > input:not([type=checkbox]), td > select, td > textarea")];
  }

  // Rows and columns of a spreadsheet go into the cells from this one on.
  function paste(event) {
    const text = event.clipboardData.getData("text/plain").replace(/\r/g, "").replace(/\n$/, "");
    const row = event.target.closest && event.target.closest("table.grid td") && event.target.closest("tr");
    if (!row || !/[\t\n]/.test(text)) return;
    event.preventDefault();
    const start = cellsOf(row).indexOf(event.target);
    let here = row;
    for (const line of text.split("\n")) {
      const cells = cellsOf(here);
      line.split("\t").forEach((value, index) => { if (cells[start + index]) cells[start + index].value = value.trim(); });
      if (!here.nextElementSibling) here.after(another(here));
      here = here.nextElementSibling;
    }
    edits += 1;
    check();
  }

  // A new row after this one: the same cells, empty, with the next number in their names.
  function another(row) {
    const made = row.cloneNode(true);
    for (const each of made.querySelectorAll("[name]")) {
      each.name = each.name.replace(/\|(\d+)\|/, (_, number) => `|${Number(number) + 1}|`);
      if (each.hasAttribute("aria-label")) {
        each.setAttribute("aria-label", each.getAttribute("aria-label").replace(/\d+$/, (number) => Number(number) + 1));
      }
      if (each.type === "checkbox") each.checked = false; else each.value = "";
    }
    for (const each of made.querySelectorAll(".wrong")) each.remove();
    return made;
  }

  function move(event) {
    if (event.altKey || event.ctrlKey || event.metaKey || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
    if (event.target.tagName !== "INPUT" || event.target.hasAttribute("list") || !event.target.closest("td")) return;
    const row = event.target.closest("table.grid tbody tr");
    const next = row && (event.key === "ArrowDown" ? row.nextElementSibling : row.previousElementSibling);
    if (!next) return;
    event.preventDefault();
    cellsOf(next)[cellsOf(row).indexOf(event.target)].focus();
  }

  function listen() {
    form.addEventListener("input", () => { edits += 1; form.dataset.unsaved = ""; });
    form.addEventListener("change", (event) => { if (event.target.type !== "file" && !event.target.name.startsWith("paste|")) check(); });
    form.addEventListener("paste", paste);
    form.addEventListener("keydown", move);
    form.addEventListener("submit", () => { leaving = true; });
  }

  document.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && !event.altKey && event.key.toLowerCase() === "s") {
      event.preventDefault();
      const save = form.querySelector("[value=save]");
      if (!save.disabled) form.requestSubmit(save);
    }
  });
  window.addEventListener("pageshow", () => { leaving = false; });
  window.addEventListener("beforeunload", (event) => { if ("unsaved" in form.dataset && !leaving) event.preventDefault(); });
  listen();
  if (document.getElementById("status").dataset.state === "sound" && !document.getElementById("would").innerHTML) tryOut(asking);
})();
