"""The rulebook's files as pages of the ops lead: find one, edit it as text, check it, save it."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from hashlib import sha256
from itertools import groupby
from pathlib import Path
from typing import Any

from flask import Blueprint, current_app, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.http.auth import page_roles
from api.http.check_words import as_data
from api.http.work_folder import MOST_FORM_BYTES, NoFolder, checks, work_folder
from api.pages.texts import gettext, ngettext
from triage.rulebook.reading.json_schema import schemas
from triage.rulebook.reading.reader import backups
from triage.rulebook_care.book.references import KINDS
from triage.rulebook_care.editing.check import CasesRun, Checked
from triage.rulebook_care.editing.files import ChangedOnDisk, FileText, WorkFolder, as_saved, known_path
from triage.rulebook_care.editing.retire import KINDS as RETIRED_KINDS
from triage.rulebook_care.editing.retire import Retirement
from triage.rulebook_care.editing.saving import save_changed
from triage.rulebook_care.lint.findings import counts
from triage.values.errors import InputError, Problem

blueprint = Blueprint("pages_rulebook", __name__)
MOST_ROWS = 400


@blueprint.errorhandler(NoFolder)
def no_folder(_error: NoFolder) -> ResponseReturnValue:
    return render_template("rulebook/no_folder.html"), 404


@blueprint.get("/rulebook/files")
@page_roles("ops")
def files() -> ResponseReturnValue:
    """All files, or those whose path or text holds every word asked for; with `cases` all cases are run."""
    work, words = work_folder(), request.args.get("q", "")[:200]
    checks().start()
    wanted = words.casefold().split()
    paths = [path for path in work.paths() if not wanted or _holds(work, path, wanted)]
    return render_template(
        "rulebook/files.html",
        folders=[(kind, list(found)) for kind, found in groupby(paths, lambda path: path.rpartition("/")[0])],
        number=len(paths),
        kinds={kind: title for kind, (_, title) in KINDS.items()},
        words=words,
        read_only=work.why_read_only(),
        cases=checks().run_cases() if "cases" in request.args else None,
        backups=backups(work.root),
        deleted=request.args.get("deleted", "")[:200],
    )


def _holds(work: WorkFolder, path: str, wanted: list[str]) -> bool:
    try:
        text = f"{path} {work.read(path).text}".casefold()
    except InputError:
        return False
    return all(word in text for word in wanted)


@blueprint.get("/rulebook/files/<path:path>")
@page_roles("ops")
def edit(path: str) -> ResponseReturnValue:
    found = work_folder().read(path)
    return editor(found)


@blueprint.post("/rulebook/files/<path:path>")
@page_roles("ops")
def save(path: str) -> ResponseReturnValue:
    text = _typed(path)
    return pressed(FileText(path, text, request.form.get("opened", "")), editor, "pages_rulebook.edit")


def pressed(
    file: FileText, page: Callable[..., str], then: str, wrong: Sequence[Problem] = ()
) -> ResponseReturnValue:
    """Checks a text as typed, runs the cases under it, or saves it, if sound or outright as unfinished.

    `page` shows it, `then` is the page of the file once it is saved, `wrong` what keeps it from being saved.
    """
    path, action, checked = file.path, request.form.get("action", "check"), Checked()
    try:
        content = as_saved(file.text)
        if action == "cases":
            return page(file, cases=checks().run_cases(path, content))
        checked = checks().check(path, content)
        if action not in ("save", "unfinished"):
            return page(file, checked)
        if wrong or (action == "save" and not checked.ok):
            return page(file, checked, refused=True), 422
        work_folder().save(path, file.text, file.sha256 or None)
    except ChangedOnDisk as error:
        now = replace(file, sha256="" if error.now is None else error.now.sha256)
        return page(now, checked, changed=True, other=error.now), 409
    except InputError as error:
        return page(file, Checked(error.told)), 422
    return redirect(url_for(then, path=path, saved=1), 303)


@blueprint.get("/rulebook/delete/<path:path>")
@page_roles("ops")
def ask_delete(path: str) -> ResponseReturnValue:
    """Says what needs the file, and asks."""
    return _delete_page(work_folder().read(path))


@blueprint.post("/rulebook/delete/<path:path>")
@page_roles("ops")
def delete(path: str) -> ResponseReturnValue:
    work = work_folder()
    try:
        work.delete(path, request.form.get("opened", ""))
    except ChangedOnDisk as error:
        if error.now is not None:
            return _delete_page(error.now, changed=True), 409
    return redirect(url_for("pages_rulebook.files", deleted=path), 303)


@blueprint.get("/rulebook/retire/<kind>/<name>")
@page_roles("ops")
def ask_retire(kind: str, name: str) -> ResponseReturnValue:
    """Shows every place that names the entry and what becomes of it, and asks.

    What then still fails takes seconds to find: it is `tried` when asked for, which a script does by itself.
    """
    tried = request.args.get("tried") == "1"
    return _retire_page(kind, name, checks().retirement(kind, name, tried), tried=tried)


@blueprint.post("/rulebook/retire/<kind>/<name>")
@page_roles("ops")
def retire(kind: str, name: str) -> ResponseReturnValue:
    """Retires it where the places are still those that were shown."""
    found = checks().retirement(kind, name)
    if request.form.get("seen") != _seen(found):
        return _retire_page(kind, name, found, changed=True), 409
    save_changed(work_folder(), found.files)
    return _retire_page(kind, name, found, done=True)


def _retire_page(
    kind: str, name: str, found: Retirement, changed: bool = False, done: bool = False, tried: bool = True
) -> str:
    return render_template(
        "rulebook/retire.html",
        path=f"{kind}/{name}.yml",
        action=url_for("pages_rulebook.retire", kind=kind, name=name),
        found=found,
        seen=_seen(found),
        changed=changed,
        done=done,
        tried=tried,
        read_only=work_folder().why_read_only(),
    )


def _seen(found: Retirement) -> str:
    """What tells whether the places are the same."""
    return sha256("\n".join(map(str, found.touched)).encode()).hexdigest()


def _delete_page(opened: FileText, changed: bool = False) -> str:
    found = checks().check(opened.path, None)
    return render_template(
        "rulebook/delete.html",
        opened=opened,
        changed=changed,
        needed=(*found.problems, *found.elsewhere),
        read_only=work_folder().why_read_only(),
    )


@blueprint.post("/rulebook/check/<path:path>")
@page_roles("ops")
def check(path: str) -> ResponseReturnValue:
    """The same check as JSON, for the page while one types; with its list as the page shows it."""
    text = _typed(path)
    try:
        checked = checks().check(path, as_saved(text))
    except InputError as error:
        checked = Checked(error.told)
    shown = {"opened": FileText(path, text, ""), "problems": checked.problems, "checked": checked}
    return as_data(checked) | {
        "said": said(checked),
        "list": render_template("rulebook/_findings.html", **shown),
    }


def _typed(path: str) -> str:
    """The text sent, of a file that a rulebook can have."""
    request.max_content_length = request.max_form_memory_size = MOST_FORM_BYTES
    known_path(path)
    return request.form.get("text", "")


def editor(opened: FileText, checked: Checked | None = None, **shown: Any) -> str:
    """The page of a file's text."""
    kind = opened.path.rpartition("/")[0] or opened.path
    return file_page(
        "rulebook/edit.html",
        opened,
        checked,
        schema=_schemas()[kind],
        built=(Path(str(current_app.static_folder)) / "built" / "editor.js").is_file(),
        rows=min(opened.text.count("\n") + 3, MOST_ROWS),
        **shown,
    )


_schemas = cache(schemas)


def file_page(
    template: str,
    opened: FileText,
    checked: Checked | None = None,
    wrong: Sequence[Problem] = (),
    refused: bool = False,
    changed: bool = False,
    other: FileText | None = None,
    cases: CasesRun | None = None,
    **more: Any,
) -> str:
    """`opened` has the text as typed and the SHA-256 of the file on disk, "" without one. `changed` tells
    that it was changed or deleted there meanwhile; `other` is what is there."""
    checked = checked or checks().check(opened.path, as_saved(opened.text))
    problems = (*wrong, *checked.problems)
    fresh = request.method == "GET"
    kind, _, name = opened.path.removesuffix(".yml").rpartition("/")
    loud = any(each.silenced is None for each in checked.findings)
    return render_template(
        template,
        opened=opened,
        entry=(kind, name),
        retirable=kind in RETIRED_KINDS and bool(opened.sha256),
        checked=checked,
        problems=problems,
        anything=problems or checked.elsewhere or checked.standing or loud,
        said=said(checked),
        refused=refused,
        changed=changed,
        other=other,
        cases=cases,
        saved="saved" in request.args and fresh,
        unsaved=not fresh,
        read_only=work_folder().why_read_only(),
        **more,
    )


def said(checked: Checked) -> str:
    """How much is found, in words: "2 errors, 1 note"."""
    found = counts(checked.findings)
    errors = len(checked.problems) + len(checked.elsewhere) + found["error"]
    words = [
        ngettext("%(num)s error", "%(num)s errors", errors) if errors else gettext("no errors"),
        ngettext("%(num)s warning", "%(num)s warnings", found["warning"]) if found["warning"] else "",
        ngettext("%(num)s note", "%(num)s notes", found["note"]) if found["note"] else "",
    ]
    return ", ".join(filter(None, words))
