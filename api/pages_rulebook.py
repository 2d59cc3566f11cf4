"""The rulebook's files as pages of the ops lead: find one, edit it as text, check it, save it."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import cast

from flask import Blueprint, current_app, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.auth import page_roles
from triage.errors import InputError, NotFoundError, Problem
from triage.rulebook_care.findings import counts
from triage.rulebook_care.workbench_check import Checked, FolderCheck
from triage.rulebook_care.workbench_files import ChangedOnDisk, FileText, WorkFolder, as_saved, known_path

blueprint = Blueprint("pages_rulebook", __name__)
MOST_FORM_BYTES = 1024 * 1024  # a text of 256 KiB, escaped as forms are


def _folder() -> Path:
    folder = current_app.extensions.get("barrelwise_folder")
    if folder is None:
        raise NotFoundError("this server has no folder of rules to edit; give `serve` one")
    return cast(Path, folder)


def _check() -> FolderCheck:
    kept = current_app.extensions.setdefault("barrelwise_folder_check", FolderCheck(_folder()))
    return cast(FolderCheck, kept)


@blueprint.get("/rulebook/files")
@page_roles("ops")
def files() -> ResponseReturnValue:
    """All files, or those whose path or text holds every word asked for."""
    work, words = WorkFolder(_folder()), request.args.get("q", "")[:200]
    wanted = words.casefold().split()
    paths = [path for path in work.paths() if not wanted or _holds(work, path, wanted)]
    return render_template("rulebook/files.html", paths=paths, words=words, read_only=work.why_read_only())


def _holds(work: WorkFolder, path: str, wanted: list[str]) -> bool:
    try:
        text = f"{path} {work.read(path).text}".casefold()
    except InputError:
        return False
    return all(word in text for word in wanted)


@blueprint.get("/rulebook/files/<path:path>")
@page_roles("ops")
def edit(path: str) -> ResponseReturnValue:
    found = WorkFolder(_folder()).read(path)
    return _page(found, found.text)


@blueprint.post("/rulebook/files/<path:path>")
@page_roles("ops")
def save(path: str) -> ResponseReturnValue:
    """Checks the text, and saves it where that was asked: sound, or outright as unfinished."""
    request.max_content_length = request.max_form_memory_size = MOST_FORM_BYTES
    known_path(path)
    work, text = WorkFolder(_folder()), request.form.get("text", "")
    opened, action = request.form.get("opened", ""), request.form.get("action", "check")
    page = partial(_page, FileText(path, text, opened), text)
    try:
        checked = _check().check(path, as_saved(text))
        if action == "check":
            return page(checked)
        if action != "unfinished" and not checked.ok:
            return page(checked, refused=True), 422
        work.save(path, text, opened)
    except ChangedOnDisk as error:
        sha256 = "" if error.now is None else error.now.sha256
        return _page(FileText(path, text, sha256), text, checked, other=error.now), 409
    except InputError as error:
        return page(Checked(None, error.problems, (), ())), 422
    return redirect(url_for("pages_rulebook.edit", path=path, saved=1), 303)


@blueprint.post("/rulebook/check/<path:path>")
@page_roles("ops")
def check(path: str) -> ResponseReturnValue:
    """The same check as JSON, for the page while one types."""
    request.max_content_length = request.max_form_memory_size = MOST_FORM_BYTES
    known_path(path)
    try:
        checked = _check().check(path, as_saved(request.form.get("text", "")))
    except InputError as error:
        checked = Checked(None, error.problems, (), ())
    return {
        "ok": checked.ok,
        "problems": [_row(each) for each in (*checked.problems, *checked.elsewhere)],
        "findings": [
            _row(each) | {"severity": each.severity, "code": each.code, "mend": each.mend}
            for each in checked.findings
            if each.silenced is None
        ],
    }


def _row(each: Problem | object) -> dict[str, object]:
    return {name: getattr(each, name) for name in ("file", "line", "column", "message")}


def _page(
    opened: FileText,
    text: str,
    checked: Checked | None = None,
    refused: bool = False,
    other: FileText | None = None,
) -> str:
    checked = checked or _check().check(opened.path, as_saved(text))
    fresh = request.method == "GET"
    return render_template(
        "rulebook/edit.html",
        opened=opened,
        text=text,
        checked=checked,
        refused=refused,
        other=other,
        rows=min(text.count("\n") + 3, 400),
        said=_said(checked),
        saved="saved" in request.args and fresh,
        unsaved=not fresh,
        read_only=WorkFolder(_folder()).why_read_only(),
    )


def _said(checked: Checked) -> str:
    """How much is found, in words: "2 errors, 1 note"."""
    found = counts(checked.findings)
    errors = len(checked.problems) + len(checked.elsewhere) + found["error"]
    numbers = {"error": errors, "warning": found["warning"], "note": found["note"]}
    said = [f"{number} {name}{'' if number == 1 else 's'}" for name, number in numbers.items() if number]
    return ", ".join(said if errors else ["no errors", *said])
