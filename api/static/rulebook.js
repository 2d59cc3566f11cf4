// Checks a rule's text while one types; without it the page checks when asked. Nothing here leaves this server.
"use strict";

const box = document.querySelector("textarea[data-check]");
if (box) {
  const form = box.form;
  const lines = document.getElementById("lines");
  const status = document.getElementById("status");
  const found = document.getElementById("found");
  const unfinished = form.querySelector("[value=unfinished]");
  let marked = new Map();
  let leaving = false;
  let timer;
  let asking;

  const unsaved = () => "unsaved" in box.dataset || box.value !== box.defaultValue;
  const counted = (number, word) => `${number} ${word}${number === 1 ? "" : "s"}`;

  // One row a line lies under the text: its number, and a mark where something is wrong.
  function drawLines() {
    const wanted = box.value.split("\n").length;
    while (lines.childElementCount > wanted) lines.lastElementChild.remove();
    while (lines.childElementCount < wanted) {
      const row = document.createElement("span");
      row.textContent = lines.childElementCount + 1;
      lines.append(row);
    }
    for (const row of lines.children) row.className = marked.get(Number(row.textContent)) || "";
    follow();
  }

  function follow() { lines.scrollTop = box.scrollTop; }

  // Columns count characters; a selection counts UTF-16 units.
  function moveTo(line, column) {
    const before = box.value.split("\n");
    const at = Math.min(line, before.length) - 1;
    const inLine = Array.from(before[at]).slice(0, (column || 1) - 1).join("").length;
    const offset = before.slice(0, at).reduce((sum, each) => sum + each.length + 1, 0) + inLine;
    box.focus();
    box.setSelectionRange(offset, offset);
    const height = box.scrollHeight / (before.length + 1);
    if (at * height < box.scrollTop || (at + 3) * height > box.scrollTop + box.clientHeight) {
      box.scrollTop = Math.max(0, (at - 3) * height);
    }
  }

  function place(each) {
    const where = each.line ? `Line ${each.line}${each.column ? `, column ${each.column}` : ""}` : "The file";
    if (each.file && each.file !== box.dataset.file) {
      const link = document.createElement("a");
      link.href = box.dataset.files + each.file.split("/").map(encodeURIComponent).join("/");
      link.textContent = each.line ? `${each.file}, line ${each.line}` : each.file;
      return link;
    }
    if (!each.line) return document.createTextNode(where);
    return mover(where, each.line, each.column);
  }

  function mover(text, line, column) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "word";
    button.textContent = text;
    button.addEventListener("click", () => moveTo(line, column));
    return button;
  }

  function item(each, severity) {
    const row = document.createElement("li");
    row.className = severity;
    const kind = document.createElement("strong");
    kind.textContent = severity[0].toUpperCase() + severity.slice(1);
    const says = document.createElement("span");
    says.textContent = each.fix ? `${each.message}. ${each.fix}.` : each.message;
    row.append(kind, " ", place(each), " ", says);
    return row;
  }

  function show(answer) {
    const rows = [
      ...answer.problems.map((each) => [each, "error"]),
      ...answer.findings.map((each) => [each, each.severity]),
    ];
    marked = new Map();
    for (const [each, severity] of rows) {
      if (each.line && (!each.file || each.file === box.dataset.file) && marked.get(each.line) !== "error") {
        marked.set(each.line, severity);
      }
    }
    const number = (wanted) => rows.filter(([, severity]) => severity === wanted).length;
    const said = ["error", "warning", "note"]
      .filter((severity) => number(severity))
      .map((severity) => counted(number(severity), severity));
    if (!number("error")) said.unshift("no errors");
    document.getElementById("findings").hidden = !rows.length;
    found.replaceChildren(...rows.map(([each, severity]) => item(each, severity)));
    say(said.join(", "), answer.ok ? "sound" : "faulty");
    box.setAttribute("aria-invalid", String(!answer.ok));
    unfinished.hidden = answer.ok;
    drawLines();
  }

  function say(text, state) {
    if (status.textContent !== text) status.textContent = text;
    status.dataset.state = state;
  }

  async function check() {
    if (asking) asking.abort();
    const mine = new AbortController();
    asking = mine;
    try {
      const body = new URLSearchParams({ text: box.value });
      const answer = await fetch(box.dataset.check, { method: "POST", body, signal: mine.signal });
      if (!answer.headers.get("Content-Type").startsWith("application/json")) {
        say(answer.redirected ? "not checked: sign in again in another tab" : "not checked", "unknown");
      } else {
        show(await answer.json());
      }
    } catch (error) {
      if (error.name !== "AbortError") say("not checked: the server does not answer", "unknown");
    }
  }

  function changed() {
    document.getElementById("unsaved").hidden = !unsaved();
  }

  box.addEventListener("input", () => {
    drawLines();
    changed();
    clearTimeout(timer);
    timer = setTimeout(check, 300);
  });
  box.addEventListener("scroll", follow);
  new ResizeObserver(follow).observe(box);
  document.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && !event.altKey && event.key.toLowerCase() === "s") {
      event.preventDefault();
      const save = form.querySelector("[value=save]");
      if (!save.disabled) form.requestSubmit(save);
    }
  });
  form.addEventListener("submit", () => { leaving = true; });
  window.addEventListener("pageshow", () => { leaving = false; });
  window.addEventListener("beforeunload", (event) => {
    if (unsaved() && !leaving) event.preventDefault();
  });

  for (const each of document.querySelectorAll("[data-line]")) {
    each.replaceWith(mover(each.textContent, Number(each.dataset.line), Number(each.dataset.column)));
  }
  form.classList.add("numbered");
  lines.hidden = false;
  changed();
  drawLines();
  check();
  const wanted = /^#line-(\d+)$/.exec(location.hash); // a link from the book or a candidate's problems
  if (wanted) moveTo(Number(wanted[1]), 1);
}
