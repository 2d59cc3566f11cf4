"""A candidate's way for the ops lead: what it says, what it would have decided, publishing it, and back.

A form that is refused comes back as it was filled in, with the reason on top.
"""

from collections.abc import Mapping
from datetime import UTC, datetime
from itertools import groupby
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.http.auth import caller, page_roles, service
from api.http.work_folder import start_replay
from api.pages.words import outcome_words, short
from triage.rulebook_care.book.difference import differences, file_diff
from triage.rulebook_care.editing.files import known_path
from triage.rulebook_care.safety.loss import by_edit
from triage.service import rulebooks
from triage.service.rulebooks import ReplayRun
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.shown import N_

blueprint = Blueprint("rulebook_release", __name__, url_prefix="/rulebook")
ACCEPT = "accept-"
"""How the name of a loss's field begins."""

MOST_LISTED = 200
"""Changes and lost safety outcomes shown on the page; the API gives all."""


STEPS = (
    *(N_("checked"), N_("replayed"), N_("agreed"), N_("accepted"), N_("scheduled"), N_("unscheduled")),
    *(N_("shadow"), N_("shadow ended"), N_("published")),
)
"""What the log calls what a version has been through."""


@blueprint.get("/candidates/<version>")
@page_roles("ops")
def candidate(version: str) -> ResponseReturnValue:
    """With `part` only how far the replay is, for the script that watches it."""
    if "part" in request.args:
        wanted = rulebooks.kept_version(service(), version)
        return render_template("_replay_run.html", run=_run(wanted, _compared_with(wanted)), short=short)
    return _page(version)


@blueprint.post("/candidates/<version>/replay")
@page_roles("ops")
def replay(version: str) -> ResponseReturnValue:
    try:
        start_replay(version, _since(request.form.get("since", "")))
    except InputError as error:
        return _page(version, error)
    return redirect(url_for("rulebook_release.candidate", version=version, _anchor="replay"), 303)


@blueprint.post("/candidates/<version>/stop")
@page_roles("ops")
def stop(version: str) -> ResponseReturnValue:
    try:
        rulebooks.stop_replay(service(), request.form.get("run", ""))
    except InputError as error:
        return _page(version, error)
    return redirect(url_for("rulebook_release.candidate", version=version, _anchor="replay"), 303)


@blueprint.post("/candidates/<version>/publish")
@page_roles("ops")
def publish(version: str) -> ResponseReturnValue:
    note = request.form.get("note", "")
    accepting, due = "write a reason beside it", request.form.get("at", "")
    try:
        if due:
            rulebooks.schedule(service(), version, caller(), note, _utc(due), _accepted(), accepting)
        else:
            rulebooks.publish(service(), version, caller(), note, _accepted(), accepting)
    except InputError as error:
        return _page(version, error)
    return redirect(url_for("rulebook_release.log"), 303)


@blueprint.post("/candidates/<version>/agree")
@page_roles("ops")
def agree(version: str) -> ResponseReturnValue:
    try:
        rulebooks.agree(service(), version, caller(), request.form.get("yes", ""))
    except InputError as error:
        return _page(version, error)
    return redirect(url_for("rulebook_release.candidate", version=version), 303)


@blueprint.post("/candidates/<version>/shadow")
@page_roles("ops")
def shadow(version: str) -> ResponseReturnValue:
    """Begins a shadow, looks at what it found so far, or ends it."""
    action, share = request.form.get("action", ""), request.form.get("share", "")
    try:
        if action == "begin":
            number = int(share) if share.isascii() and share.isdigit() and len(share) < 4 else 0
            rulebooks.cast_shadow(service(), version, number, caller())
        elif action == "end":
            rulebooks.end_shadow(service(), version, caller())
        elif (cast := rulebooks.shadow_of(service(), rulebooks.kept_version(service(), version))) is not None:
            start_replay(version, cast.at)
    except InputError as error:
        return _page(version, error)
    return redirect(url_for("rulebook_release.candidate", version=version, _anchor="shadow"), 303)


@blueprint.get("/compare")
@page_roles("ops")
def compare() -> ResponseReturnValue:
    """Any two kept versions: who, when and why, and every change; made to be printed."""
    lines, known = rulebooks.log(service()), rulebooks.publications(service())
    newest = [one.version for one in known]
    if len(newest) == 1:  # with what may follow it
        newest = [next((line.version for line in lines if line.version != newest[0]), newest[0]), *newest]
    wanted = [request.args.get("from") or newest[1], request.args.get("to") or newest[0]]
    sides = [rulebooks.kept_version(service(), each) for each in wanted]
    before, after = (rulebooks.files_of(service(), version) for version in sides)
    return render_template(
        "rulebook/compare.html",
        sides=sides,
        said=[[line for line in lines if line.version == version] for version in sides],
        versions=list({line.version: line for line in reversed(lines)}.values())[::-1],
        files=[
            (file, list(group), file_diff(before.get(file), after.get(file)))
            for file, group in groupby(differences(before, after), lambda change: change.file)
        ],
        losses=by_edit(rulebooks.known_losses(service(), *sides)),
        short=short,
    )


@blueprint.get("/history/<path:file>")
@page_roles("ops")
def history(file: str) -> ResponseReturnValue:
    """What each publication changed in one file, by whom and why."""
    found = rulebooks.history(service(), known_path(file))
    return render_template("rulebook/history.html", file=file, found=found, short=short)


def _utc(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text).replace(tzinfo=UTC)
    except ValueError:
        raise InputError([Problem("write it as 2027-01-01T06:00, in UTC", "/at")]) from None


@blueprint.get("/log")
@page_roles("ops")
def log() -> ResponseReturnValue:
    return _log_page()


@blueprint.post("/rollback")
@page_roles("ops")
def rollback() -> ResponseReturnValue:
    form = request.form
    try:
        rulebooks.rollback(service(), form.get("version") or None, caller(), form.get("note", ""))
    except InputError as error:
        return _log_page(error)
    return redirect(url_for("rulebook_release.log"), 303)


def _accepted() -> dict[str, str]:
    """Why each loss is accepted, by its id, as the form says it; an empty field accepts nothing."""
    return {
        name.removeprefix(ACCEPT): reason.strip()
        for name, reason in request.form.items()
        if name.startswith(ACCEPT) and reason.strip()
    }


def _since(text: str) -> datetime | None:
    if not text.strip():
        return None
    try:
        return datetime.strptime(text.strip(), "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError:
        raise InputError(
            [Problem('write the day such as "2026-01-31", or leave it empty', "/since")]
        ) from None


def _status(error: InputError | None) -> int:
    match error:
        case None:
            return 200
        case ConflictError():
            return 409
        case NotFoundError():
            return 404
        case _:
            return 422


def _compared_with(version: str) -> str | None:
    """The live version; for that one itself, the one that was live before it."""
    versions = [one.version for one in rulebooks.publications(service())]
    others = [one for one in versions if one != version]
    return others[0] if others else None


def _run(version: str, baseline: str | None) -> ReplayRun | None:
    """The newest replay of a candidate against a baseline."""
    runs = rulebooks.replay_runs(service(), version)
    return next((run for run in runs if run.baseline == baseline), None)


def _page(start: str, error: InputError | None = None) -> ResponseReturnValue:
    version = rulebooks.kept_version(service(), start)
    baseline = _compared_with(version)
    files = rulebooks.files_of(service(), version)
    changes = () if baseline is None else differences(rulebooks.files_of(service(), baseline), files)
    run = _run(version, baseline)
    found = None if run is None else rulebooks.result_of(service(), run)
    losses = () if baseline is None else rulebooks.known_losses(service(), baseline, version)
    return render_template(
        "candidate.html",
        version=version,
        title=files.get("rulebook.yml", {}).get("title", ""),
        live=rulebooks.live(service()).version,
        baseline=baseline,
        steps=[line for line in rulebooks.log(service()) if line.version == version],
        change_count=len(changes),
        changes=[
            (file, list(group)) for file, group in groupby(changes[:MOST_LISTED], lambda change: change.file)
        ],
        run=run,
        found=found,
        currency=service().rulebook.currency,
        losses=by_edit(losses),
        groups=() if found is None else _groups(found),
        most=MOST_LISTED,
        needs_second=rulebooks.needs_second(service()),
        shadow=rulebooks.shadow_of(service(), version),
        problems=() if error is None else error.told,
        form=request.form,
    ), _status(error)


def _groups(found: Mapping[str, Any]) -> list[tuple[str, list[tuple[str, int, int, str]]]]:
    """By symptom and by site: (name, decisions, changed, to what), those with the most changes first."""
    rulebook = service().rulebook
    titles = {name: symptom.title for name, symptom in rulebook.symptoms.items()}
    tables = []
    for title, key in (("symptom", "by_symptom"), ("site", "by_site")):
        rows = []
        for name, pairs in found[key].items():
            changed = [pair for pair in pairs if pair["baseline"] != pair["candidate"]]
            if changed:
                to = ", ".join(
                    f"{outcome_words(pair['baseline'])} → {outcome_words(pair['candidate'])}: {pair['count']}"
                    for pair in changed
                )
                counts = sum(pair["count"] for pair in pairs), sum(pair["count"] for pair in changed)
                rows.append((titles.get(name, name), *counts, to))
        if rows:
            tables.append((title, sorted(rows, key=lambda row: (-row[2], row[0]))))
    return tables


def _log_page(error: InputError | None = None) -> ResponseReturnValue:
    publications = rulebooks.publications(service())
    earlier = [one for one in publications if one.version != publications[0].version]
    return render_template(
        "rulebook_log.html",
        live=rulebooks.live(service()),
        lines=rulebooks.log(service()),
        earlier=list({one.version: one for one in reversed(earlier)}.values())[::-1],
        problems=() if error is None else error.told,
        form=request.form,
    ), _status(error)
