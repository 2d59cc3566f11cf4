"""The rulebook in force, and the way of a candidate: check, replay, publish, roll back. For ops only.

A candidate travels as its files, `{"evidence/filter-overdue.yml": {...}}`; from then on it is named by its
version. Checking and replaying run in other processes, and no lock is held while they work.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import wraps
from typing import Any, TypeVar, cast

from flask import current_app, request, url_for
from flask.views import MethodView
from marshmallow import Schema, fields

from api.http.auth import caller, programme, roles
from api.http.conditional import idempotent, idempotent_work
from api.http.json_bodies import Blueprint
from api.v1.schemas import text
from triage.rulebook_care.editing.candidate import USUAL, Limits
from triage.rulebook_care.release import publishing
from triage.rulebook_care.release import runs as replay_runs
from triage.rulebook_care.release.background import Launcher
from triage.rulebook_care.release.piece import ReplayJob
from triage.rulebook_care.release.replay import as_data, replay
from triage.rulebook_care.release.runners import here, processes
from triage.store.tables.replay_runs import ReplayRun
from triage.store.tables.rulebooks import Publication
from triage.values.errors import InputError, Problem

MOST_BYTES = 8 * 1024 * 1024
"""Of a candidate's files; every other body is far smaller."""

LAUNCHER = "barrelwise_replays"
"""The app's extension that carries out replays in the background."""

LIMITS = "barrelwise_limits"
"""The app's extension that says what trying a candidate may take, where that is not the usual."""

View = TypeVar("View", bound=Callable[..., Any])

blueprint = Blueprint(
    "rulebook", __name__, url_prefix="/v1/rulebook", description="The rulebook and its care"
)


class CandidateIn(Schema):
    files = fields.Dict(
        keys=text(200),
        values=fields.Dict(),
        required=True,
        metadata={"description": "Path such as `facts/x.yml` -> the file's content as JSON"},
    )


class CheckOut(Schema):
    ok = fields.Boolean()
    version = fields.String(allow_none=True, metadata={"description": "Under which it is kept, when ok"})
    problems = fields.List(fields.Dict(), metadata={"description": "{message, file} each"})


class ReplayIn(Schema):
    version = text(80, required=True, metadata={"description": "Of a checked candidate"})
    since = fields.AwareDateTime(
        format="iso",
        load_default=None,
        error_messages={
            "invalid": "a time is wanted, such as 2026-01-31T09:30:00-05:00",
            "invalid_awareness": "a time with its offset is wanted, such as 2026-01-31T09:30:00-05:00",
        },
        metadata={"description": "Only what was decided from then on"},
    )


class PublishIn(Schema):
    version = text(80, required=True)
    note = text(publishing.MOST_NOTE, required=True, metadata={"description": "Why"})
    accept_lost_safety = fields.Boolean(load_default=False)


class RollbackIn(Schema):
    version = text(80, load_default=None, allow_none=True, metadata={"description": "Else the one before"})
    note = text(publishing.MOST_NOTE, required=True, metadata={"description": "Why"})


class LogLineOut(Schema):
    at = fields.String()
    stage = fields.String(metadata={"description": "checked, replayed, published or rolled back"})
    version = fields.String()
    who = fields.String()
    note = fields.String()


class PublicationOut(Schema):
    version = fields.String()
    at = fields.String()
    published_by = fields.String()
    note = fields.String()


class RulebookOut(PublicationOut):
    title = fields.String()
    serving = fields.String(metadata={"description": "The version of this answer; a new one takes seconds"})
    log = fields.List(fields.Nested(LogLineOut))


def _large(view: View) -> View:
    """Lets a body hold a whole rulebook."""

    @wraps(view)
    def larger(*args: Any, **kwargs: Any) -> Any:
        request.max_content_length = MOST_BYTES
        return view(*args, **kwargs)

    return cast(View, larger)


def _publication(done: Publication) -> dict[str, Any]:
    return {
        "version": done.version,
        "at": done.at.isoformat(),
        "published_by": done.published_by,
        "note": done.note,
    }


@blueprint.route("")
class InForce(MethodView):
    @roles("ops")
    @blueprint.response(200, RulebookOut)
    def get(self) -> Any:
        """The rulebook in force, who published it and why, and what happened before."""
        serving = programme().rulebook
        lines = publishing.log(programme().store)
        return {
            **_publication(publishing.in_force(programme().store)),
            "title": serving.title,
            "serving": serving.version,
            "log": [
                {
                    "at": line.at.isoformat(),
                    "stage": line.stage,
                    "version": line.version,
                    "who": line.who,
                    "note": line.note,
                }
                for line in lines
            ],
        }


@blueprint.route("/check")
class Check(MethodView):
    @roles("ops")
    @_large
    @idempotent_work
    @blueprint.arguments(CandidateIn)
    @blueprint.response(200, CheckOut)
    def post(self, body: dict[str, Any]) -> Any:
        """Read, compile and try a candidate in a process of its own, and run its cases."""
        store, now = programme().store, programme().now()
        try:
            limits = cast(Limits, current_app.extensions.get(LIMITS, USUAL))
            version = publishing.check_candidate(store, body["files"], caller().name, now, limits)
        except InputError as error:
            problems = [{"message": item.message, "file": item.file} for item in error.problems]
            return {"ok": False, "version": None, "problems": problems}
        return {"ok": True, "version": version, "problems": []}


@blueprint.route("/replay")
class Replay(MethodView):
    @roles("ops")
    @idempotent_work
    @blueprint.arguments(ReplayIn)
    @blueprint.response(200)
    def post(self, body: dict[str, Any]) -> Any:
        """Decide all that was recorded again under a checked candidate; answers when it is done.

        A long log takes minutes: for that, `POST /v1/rulebook/replays` starts it in the background.
        """
        store, now = programme().store, programme().now()
        version = publishing.kept_version(store, body["version"])
        if not publishing.is_checked(store, version):
            raise InputError([Problem("this version was not checked; check it first", "/version")])
        baseline = publishing.in_force(store).version
        job = ReplayJob(store.url, baseline, version, body["since"], now)
        found = replay(store, job, processes(1) if store.can_be_shared else here(store))
        publishing.note_replay(store, found, caller().name, now)
        return as_data(found)


class ProgressOut(Schema):
    done = fields.Integer(metadata={"description": "Decisions made again so far"})
    of = fields.Integer(allow_none=True, metadata={"description": "Of how many; null until counted"})


class ReplayRunOut(Schema):
    id = fields.String()
    state = fields.String(
        metadata={
            "description": "waiting, running, done, failed or stopped. One that failed or was stopped "
            "goes on from its finished pieces when it is asked for again within a day"
        }
    )
    baseline = fields.String()
    candidate = fields.String()
    since = fields.String(allow_none=True)
    until = fields.String()
    started_by = fields.String()
    asked_at = fields.String()
    ended_at = fields.String(allow_none=True)
    progress = fields.Nested(ProgressOut)
    why = fields.String(metadata={"description": "Why it failed"})


class ReplayRunWhole(ReplayRunOut):
    result = fields.Raw(
        allow_none=True,
        metadata={"description": "As `POST /v1/rulebook/replay` answers; null until done"},
    )


class ReplayRunsOut(Schema):
    items = fields.List(fields.Nested(ReplayRunOut))


def start_replay(version: str, since: datetime | None) -> ReplayRun:
    """Asks for a replay in the background, in the caller's name."""
    store, now = programme().store, programme().now()
    run, fresh = replay_runs.start(store, publishing.kept_version(store, version), since, caller().name, now)
    if fresh:
        cast(Launcher, current_app.extensions[LAUNCHER]).launch(run)
    return replay_runs.find(store, run.id, now)


def _run(run: ReplayRun) -> dict[str, Any]:
    return {
        "id": run.id,
        "state": run.state,
        "baseline": run.baseline,
        "candidate": run.candidate,
        "since": None if run.since is None else run.since.isoformat(),
        "until": run.until.isoformat(),
        "started_by": run.who,
        "asked_at": run.asked_at.isoformat(),
        "ended_at": None if run.ended_at is None else run.ended_at.isoformat(),
        "progress": {"done": run.done, "of": run.of},
        "why": run.why,
    }


def _whole(run: ReplayRun) -> dict[str, Any]:
    return {**_run(run), "result": replay_runs.result(programme().store, run)}


@blueprint.route("/replays")
class Replays(MethodView):
    @roles("ops")
    @blueprint.response(200, ReplayRunsOut)
    def get(self) -> Any:
        """The last fifty replays that were started in the background, newest first."""
        runs = replay_runs.newest(programme().store, programme().now())
        return {"items": [_run(run) for run in runs]}

    @roles("ops")
    @idempotent_work
    @blueprint.arguments(ReplayIn)
    @blueprint.response(202, ReplayRunWhole)
    def post(self, body: dict[str, Any]) -> Any:
        """Start a replay of a checked candidate in the background; `Location` tells how far it is.

        Where the same replay (version in force, candidate, since) goes on already, the answer is that one.
        """
        run = start_replay(body["version"], body["since"])
        return _whole(run), {"Location": url_for("rulebook.ReplayRunView", run_id=run.id)}


@blueprint.route("/replays/<run_id>")
class ReplayRunView(MethodView):
    @roles("ops")
    @blueprint.response(200, ReplayRunWhole)
    def get(self, run_id: str) -> Any:
        """How far a replay is, and what it found when it is done."""
        return _whole(replay_runs.find(programme().store, run_id, programme().now()))

    @roles("ops")
    @blueprint.response(200, ReplayRunWhole)
    def delete(self, run_id: str) -> Any:
        """Stop a replay; what is finished is kept. One that has ended stays as it is."""
        return _whole(replay_runs.stop(programme().store, run_id, programme().now()))


@blueprint.route("/publish")
class Publish(MethodView):
    @roles("ops")
    @idempotent
    @blueprint.arguments(PublishIn)
    @blueprint.response(200, PublicationOut)
    def post(self, body: dict[str, Any]) -> Any:
        """Put a replayed candidate in force, in the name of the token that asks."""
        store, now = programme().store, programme().now()
        version = publishing.kept_version(store, body["version"])
        accept, accepting = body["accept_lost_safety"], 'send "accept_lost_safety": true'
        done = publishing.publish(store, version, caller().name, body["note"], now, accept, accepting)
        return _publication(done)


@blueprint.route("/rollback")
class Rollback(MethodView):
    @roles("ops")
    @idempotent
    @blueprint.arguments(RollbackIn)
    @blueprint.response(200, PublicationOut)
    def post(self, body: dict[str, Any]) -> Any:
        """Put a version that was in force before in force again."""
        store, now = programme().store, programme().now()
        wanted = body["version"]
        version = None if wanted is None else publishing.kept_version(store, wanted)
        return _publication(publishing.rollback(store, version, caller().name, body["note"], now))
