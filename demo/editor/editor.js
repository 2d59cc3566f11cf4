// The text of a rulebook's file in CodeMirror: colors, completion by the file's JSON Schema, marks while one types.
// Without it the page is a plain text area with the same buttons. Nothing here leaves this server.
import { HighlightStyle, syntaxHighlighting } from "@codemirror/language";
import { linter, lintGutter } from "@codemirror/lint";
import { keymap } from "@codemirror/view";
import { yaml, yamlLanguage } from "@codemirror/lang-yaml";
import { tags } from "@lezer/highlight";
import { basicSetup, EditorView } from "codemirror";
import { stateExtensions } from "codemirror-json-schema";
import { yamlCompletion } from "codemirror-json-schema/yaml";

const SEVERITY = { error: "error", warning: "warning", note: "info" };
const box = document.querySelector("textarea[data-check]");
const form = box.form;
const status = document.getElementById("status");
const findings = document.getElementById("findings");
let leaving = false;

const theme = EditorView.theme({
  "&": { color: "var(--ink)", backgroundColor: "var(--sheet)", maxHeight: "70vh", fontSize: "var(--t1)" },
  "&.cm-focused": { outline: "3px solid var(--act)", outlineOffset: "2px" },
  ".cm-scroller": { fontFamily: "var(--code)", lineHeight: "1.5rem", overflow: "auto" },
  ".cm-gutters": { color: "var(--soft)", backgroundColor: "var(--sunk)", border: "none" },
  ".cm-activeLine, .cm-activeLineGutter": { backgroundColor: "var(--sunk)" },
  ".cm-cursor": { borderLeftColor: "var(--ink)" },
  // The component's own marks are pictures in addresses, which the page's policy does not load.
  ".cm-lint-marker-error, .cm-lint-marker-warning, .cm-lint-marker-info": { content: "normal", color: "var(--doubt)" },
  ".cm-lint-marker::before": { content: "'▲'" },
  ".cm-lint-marker-error": { color: "var(--danger)" },
  ".cm-lint-marker-error::before": { content: "'●'" },
  ".cm-lintRange": { backgroundImage: "none", textDecoration: "underline wavy var(--doubt)" },
  ".cm-lintRange-error": { textDecorationColor: "var(--danger)" },
  ".cm-tooltip": { color: "var(--ink)", backgroundColor: "var(--sheet)", border: "1px solid var(--edge)" },
});
const colors = HighlightStyle.define([
  { tag: [tags.propertyName, tags.definition(tags.propertyName)], color: "var(--act)" },
  { tag: tags.string, color: "var(--fix)" },
  { tag: tags.comment, color: "var(--soft)", fontStyle: "italic" },
]);

// One question at a time, always about the newest text: saving never waits behind texts that are gone.
let before = Promise.resolve();
function check(view) {
  const asked = view.state.doc;
  const answer = before.then(() => (view.state.doc === asked ? judge(view, asked) : []));
  before = answer;
  return answer;
}

// Asks the server what is wrong, shows its list, and gives the marks. Columns count characters, offsets UTF-16 units.
async function judge(view, asked) {
  try {
    const body = new URLSearchParams({ text: asked.toString() });
    const answer = await fetch(box.dataset.check, { method: "POST", body });
    if (!answer.headers.get("Content-Type").startsWith("application/json")) throw new Error("signed out");
    const found = await answer.json();
    if (view.state.doc !== asked) return [];
    say(found.said, found.ok ? "sound" : "faulty");
    findings.innerHTML = found.list;
    findings.hidden = !findings.querySelector("li");
    form.querySelector("[value=unfinished]").hidden = found.ok;
    const rows = [...found.problems.map((each) => ({ severity: "error", ...each })), ...found.findings];
    return rows.filter((each) => each.line && [null, box.dataset.file].includes(each.file)).map((each) => ({
      from: offset(asked, each.line, each.column),
      to: asked.line(Math.min(each.line, asked.lines)).to,
      severity: SEVERITY[each.severity],
      message: each.message,
    }));
  } catch {
    say(box.dataset.lost, "unknown");
    return [];
  }
}

function say(text, state) {
  if (status.textContent !== text) status.textContent = text;
  status.dataset.state = state;
}

function offset(doc, number, column) {
  const line = doc.line(Math.min(number, doc.lines));
  return line.from + Array.from(line.text).slice(0, (column || 1) - 1).join("").length;
}

function moveTo(hash) {
  const [, line, column] = /^#line-(\d+)(?:-(\d+))?$/.exec(hash) || [];
  if (!line) return false;
  const at = offset(view.state.doc, Number(line), Number(column || 1));
  view.dispatch({ selection: { anchor: at }, effects: EditorView.scrollIntoView(at, { y: "center" }) });
  view.focus();
  return true;
}

const unsaved = () => "unsaved" in box.dataset || box.value !== box.defaultValue;
const save = () => {
  const button = form.querySelector("[value=save]");
  if (!button.disabled) form.requestSubmit(button);
  return true;
};
const root = document.getElementById("editor").attachShadow({ mode: "open" }); // its styles need no leave of the page's
const view = new EditorView({
  doc: box.value,
  parent: root,
  root,
  extensions: [
    basicSetup,
    keymap.of([{ key: "Mod-s", run: save }]),
    yaml(),
    stateExtensions(JSON.parse(box.dataset.schema)),
    yamlLanguage.data.of({ autocomplete: yamlCompletion() }),
    linter(check, { delay: 300 }),
    lintGutter(),
    syntaxHighlighting(colors),
    theme,
    EditorView.contentAttributes.of({ "aria-label": box.labels[0].textContent, spellcheck: "false" }),
    EditorView.updateListener.of((update) => {
      if (!update.docChanged) return;
      box.value = update.state.doc.toString();
      document.getElementById("unsaved").hidden = !unsaved();
    }),
  ],
});
box.hidden = true;
form.classList.add("edited");
form.addEventListener("submit", () => { leaving = true; });
window.addEventListener("pageshow", () => { leaving = false; });
window.addEventListener("beforeunload", (event) => { if (unsaved() && !leaving) event.preventDefault(); });
document.addEventListener("click", (event) => {
  const link = event.target.closest && event.target.closest("a[href*='#line-']");
  if (link && link.pathname === location.pathname && moveTo(link.hash)) event.preventDefault();
});
moveTo(location.hash); // a link from the book or a candidate's problems
