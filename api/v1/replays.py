"""Replays of a candidate: at once, or as a run that is watched. For ops only."""

from typing import Any

from flask import url_for
from flask.views import MethodView
from marshmallow import Schema, fields

from api.http.auth import caller, roles, service
from api.http.conditional import idempotent_work
from api.http.json_bodies import Blueprint
from api.http.work_folder import start_replay
from api.v1.schemas import core, text
from triage.rulebook_care.release import replay
from triage.service import rulebooks
from triage.service.rulebooks import ReplayRun
from triage.values.dataclass_json import as_data

blueprint = Blueprint("replays", __name__, url_prefix="/v1/rulebook", description="Replays of a candidate")


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
        return replay.as_data(rulebooks.replay_now(service(), body["version"], body["since"], caller()))


class ProgressOut(Schema):
    done = fields.Integer(metadata={"description": "Decisions redecided so far"})
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
    result = core(
        ["object", "null"], "As `POST /v1/rulebook/replay` answers; null until done", allow_none=True
    )


class ReplayRunsOut(Schema):
    items = fields.List(fields.Nested(ReplayRunOut))


def _run(run: ReplayRun) -> dict[str, Any]:
    return as_data(run) | {"started_by": run.who, "progress": {"done": run.done, "of": run.of}}


def _whole(run: ReplayRun) -> dict[str, Any]:
    return {**_run(run), "result": rulebooks.result_of(service(), run)}


@blueprint.route("/replays")
class Replays(MethodView):
    @roles("ops")
    @blueprint.response(200, ReplayRunsOut)
    def get(self) -> Any:
        """The last fifty replays that were started in the background, newest first."""
        runs = rulebooks.replay_runs(service())
        return {"items": [_run(run) for run in runs]}

    @roles("ops")
    @idempotent_work
    @blueprint.arguments(ReplayIn)
    @blueprint.response(202, ReplayRunWhole)
    def post(self, body: dict[str, Any]) -> Any:
        """Start a replay of a checked candidate in the background; `Location` tells how far it is.

        Where the same replay (live version, candidate, since) goes on already, the answer is that one.
        """
        run = start_replay(body["version"], body["since"])
        return _whole(run), {"Location": url_for("replays.ReplayRunView", run_id=run.id)}


@blueprint.route("/replays/<run_id>")
class ReplayRunView(MethodView):
    @roles("ops")
    @blueprint.response(200, ReplayRunWhole)
    def get(self, run_id: str) -> Any:
        """How far a replay is, and what it found when it is done."""
        return _whole(rulebooks.replay_run(service(), run_id))

    @roles("ops")
    @blueprint.response(200, ReplayRunWhole)
    def delete(self, run_id: str) -> Any:
        """Stop a replay; what is finished is kept. One that has ended stays as it is."""
        return _whole(rulebooks.stop_replay(service(), run_id))
