"""What the folder says differently from the live version, and its way to become a candidate."""

from collections.abc import Iterable
from itertools import groupby

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.http.auth import caller, page_roles, service
from api.ops.book import can_edit, reading
from api.ops.shelf import LiveView, shelf
from triage.rulebook_care.book.difference import Change, differences, file_diff
from triage.rulebook_care.book.folder import FolderState
from triage.rulebook_care.safety.loss import by_edit
from triage.service.rulebooks import check_candidate
from triage.values.errors import InputError, NotFoundError, Problem, told

blueprint = Blueprint("rulebook_changes", __name__, url_prefix="/rulebook")
MOST_FILES = 100
"""Files whose difference is shown; the others are named."""


@blueprint.get("/changes")
@page_roles("ops")
def changes() -> ResponseReturnValue:
    return _page(_folder())


@blueprint.post("/changes")
@page_roles("ops")
def check() -> ResponseReturnValue:
    """Checks the folder's files as a candidate: those that were looked at, not what came since."""
    state = _folder()
    if state.version is None or state.problems:
        return _page(state, state.problems, 422)
    if request.form.get("version") != state.version:
        message = "the folder was changed since this page was loaded; reload it, then check it"
        return _page(state, [Problem(message)], 409)
    try:
        version = check_candidate(service(), state.files, caller())
    except InputError as error:
        return _page(state, state.placed(error.told), 422)
    return redirect(url_for("rulebook_release.candidate", version=version), 303)


def _folder() -> FolderState:
    state = shelf().folder()
    if state is None:
        raise NotFoundError("this server has no folder of rules to compare; give `serve` one")
    return state


def _page(state: FolderState, refused: Iterable[Problem] = (), status: int = 200) -> tuple[str, int]:
    live = shelf().live()
    files = shelf().changed(live, state)
    said = _said(live, state)
    before = live.files or {}
    return (
        render_template(
            "rulebook/changes.html",
            **reading(),
            refused=told(refused),
            wrong=told(state.problems),
            state=state,
            files=[
                (
                    file,
                    said.get(file, []),
                    () if file in state.broken else file_diff(before.get(file), state.files.get(file)),
                )
                for file in files[:MOST_FILES]
            ],
            others=files[MOST_FILES:],
            losses=by_edit(shelf().losses(live, state)),
            comparable=live.files is not None,
            entry_of=_entry_of,
            can_edit_now=lambda file: can_edit(file) and file not in _gone(live, state),
        ),
        status,
    )


def _said(live: LiveView, state: FolderState) -> dict[str, list[Change]]:
    """By file, what changed in words; without the files that cannot be read."""
    if live.files is None or state.version == live.version:
        return {}
    before = {file: data for file, data in live.files.items() if file not in state.broken}
    found = differences(before, state.files)
    return {file: list(group) for file, group in groupby(found, key=lambda change: change.file)}


def _gone(live: LiveView, state: FolderState) -> set[str]:
    return set(live.files or {}) - set(state.sources) - state.broken


def _entry_of(file: str) -> tuple[str, str]:
    """The kind and id of the entry that a file says."""
    kind, _, name = file.removesuffix(".yml").rpartition("/")
    return kind or "program", name
