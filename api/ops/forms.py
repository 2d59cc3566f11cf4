"""The rulebook's files as forms: fields, tables like a spreadsheet's, and conditions built by choosing.

A form is a view of a file's text: what is sent is put into the text it was made from, which travels with it,
and that text is checked and saved as in the editor.
"""

from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from itertools import groupby
from typing import Any

from flask import Blueprint, Response, make_response, render_template, request
from flask.typing import ResponseReturnValue

from api.http.auth import page_roles, service
from api.http.work_folder import MOST_FORM_BYTES, NoFolder, checks, work_folder
from api.ops.files import editor, file_page, no_folder, pressed
from api.ops.shelf import shelf
from api.pages.words import outcome_words
from triage.rulebook_care.book.references import KINDS
from triage.rulebook_care.editing.check import Checked
from triage.rulebook_care.editing.files import FileText, as_saved, known_path
from triage.rulebook_care.editing.scaffold import KINDS as SCAFFOLDS
from triage.rulebook_care.forms.form import Sheet, form_of, marks, text_of
from triage.rulebook_care.forms.parts import Part, Table
from triage.rulebook_care.forms.sheets import as_csv, as_xlsx, headed, pasted, read_sheet
from triage.rulebook_care.forms.unary import WORDS
from triage.rulebook_care.forms.vocabulary import Vocabulary, vocabulary
from triage.service.rulebooks import would_change
from triage.values.errors import InputError, NotFoundError, Problem

blueprint = Blueprint("rulebook_forms", __name__, url_prefix="/rulebook")
blueprint.register_error_handler(NoFolder, no_folder)
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
BLANK_ROWS = 5
_PASTED, _SENT_FILE, _INSTEAD = "paste|", "sheet|", "instead|"


@blueprint.get("/forms/<path:path>")
@page_roles("ops")
def edit(path: str) -> ResponseReturnValue:
    return _page(work_folder().read(path))


@blueprint.post("/forms/<path:path>")
@page_roles("ops")
def save(path: str) -> ResponseReturnValue:
    """Puts what was sent into the text, and does with it what was pressed."""
    text, wrong = _sent_text(path)
    file = FileText(path, text, request.form.get("opened", ""))
    if request.form.get("action") == "text":
        return editor(file)
    return pressed(file, partial(_page, wrong=wrong), "rulebook_forms.edit", wrong)


@blueprint.get("/new")
@page_roles("ops")
def ask_new() -> ResponseReturnValue:
    work_folder()
    return _new_page(request.args.get("kind", ""))


@blueprint.post("/new")
@page_roles("ops")
def new() -> ResponseReturnValue:
    """Opens a new file as a form, or as text; nothing is on disk until it is saved."""
    kind, name = request.form.get("kind", ""), request.form.get("id", "").strip()
    try:
        begun = checks().new_file(kind, name, service().now().date())
    except InputError as error:
        return _new_page(kind, name, error), 422
    file = FileText(begun.path, begun.text, "")
    return _page(file) if request.form.get("as") == "form" else editor(file)


def _new_page(kind: str, name: str = "", error: InputError | None = None) -> str:
    return render_template(
        "rulebook/new.html", kinds=SCAFFOLDS, names=KINDS, kind=kind, name=name, error=error
    )


@blueprint.post("/would/<path:path>")
@page_roles("ops")
def would(path: str) -> ResponseReturnValue:
    """What the file as it is in the form would change on the newest tickets, as a part of a page."""
    text, wrong = _sent_text(path)
    try:
        found, problems = would_change(service(), checks(), path, as_saved(text)), wrong
    except InputError as error:
        found, problems = None, [*wrong, *error.told]
    part = render_template(
        "rulebook/_would.html",
        found=found,
        problems=problems,
        outcome_words=outcome_words,
        currency=service().rulebook.currency,
    )
    if "part" in request.args:
        return part
    return _page(FileText(path, text, request.form.get("opened", "")), wrong=wrong, would=part)


@blueprint.get("/tables/<path:path>")
@page_roles("ops")
def table(path: str) -> ResponseReturnValue:
    """One table of a saved file as CSV or XLSX."""
    parts = form_of(path, work_folder().read(path).text, _words())
    found = next(
        (part for part in parts if isinstance(part, Table) and part.name == request.args.get("at")), None
    )
    if found is None:
        raise NotFoundError([Problem("there is no such table in this file", file=path)])
    as_sheet = request.args.get("as") == "xlsx"
    answer: Response = make_response(as_xlsx(found) if as_sheet else as_csv(found))
    answer.mimetype = XLSX if as_sheet else "text/csv"
    name = f"{path.removesuffix('.yml').replace('/', '-')}-{found.path[-2]}"
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}.{"xlsx" if as_sheet else "csv"}"'
    return answer


def _sent_text(path: str) -> tuple[str, list[Problem]]:
    """The text that the form makes, and what is wrong with the form itself."""
    request.max_content_length = request.max_form_memory_size = 4 * MOST_FORM_BYTES
    request.max_form_parts = 20_000
    known_path(path)
    form = request.form.to_dict(flat=False)
    base = request.form.get("text", "").replace("\r\n", "\n")
    sheets, problems = [], []
    for name in form:
        if name.startswith(_PASTED) and form[name][0].strip():
            at = name.removeprefix(_PASTED)
            sheets.append(Sheet(at, pasted(form[name][0]), f"{_INSTEAD}{at}" in form))
    for name, sent in request.files.items():
        if name.startswith(_SENT_FILE) and sent.filename:
            at = name.removeprefix(_SENT_FILE)
            try:
                sheets.append(Sheet(at, read_sheet(sent.filename, sent.read()), True))
            except InputError as error:
                problems += [Problem(each.message, at, path) for each in error.told]
    try:
        text, wrong = text_of(path, base, form, _words(), sheets)
    except InputError as error:
        return base, [*problems, *error.told]
    return text, [*problems, *wrong]


def _words() -> Vocabulary:
    state = shelf().folder()
    return vocabulary({} if state is None else state.files)


def _page(
    opened: FileText, checked: Checked | None = None, wrong: Sequence[Problem] = (), **shown: Any
) -> str:
    checked = checked or checks().check(opened.path, as_saved(opened.text))
    words = _words()
    parts: tuple[Part, ...] = ()
    with suppress(InputError):  # the checks say why
        parts = form_of(opened.path, opened.text, words)
    kind = opened.path.removesuffix(".yml").rpartition("/")[0]
    return file_page(
        "rulebook/form.html",
        opened,
        checked,
        wrong,
        parts=[(group, list(found)) for group, found in groupby(parts, key=lambda part: type(part).__name__)],
        marks=marks(parts, (*wrong, *checked.problems), opened.path),
        kind=KINDS.get(kind, (kind,))[0],
        words=words,
        asks=WORDS,
        headed=headed,
        blank=BLANK_ROWS if request.form.get("action") == "rows" else 1,
        **{"would": "", **shown},
    )
