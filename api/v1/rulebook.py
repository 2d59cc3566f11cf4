"""The live rulebook, and the way of a candidate: check, replay, publish, roll back. For ops only.

A candidate travels as its files, `{"evidence/filter-overdue.yml": {...}}`; from then on it is named by its
version. Checking and replaying run in other processes, and no lock is held while they work.
"""

from typing import Any, cast

from flask import Response, current_app
from flask.views import MethodView
from marshmallow import Schema, fields

from api.http.auth import caller, roles, service
from api.http.conditional import idempotent, idempotent_work
from api.http.json_bodies import Blueprint, body_up_to
from api.v1.schemas import text
from triage.rulebook_care.dmn.exporting import export_model
from triage.rulebook_care.dmn.write import write_model
from triage.rulebook_care.editing.candidate import USUAL, Limits
from triage.service import rulebooks
from triage.service.rulebooks import MOST_NOTE
from triage.values.dataclass_json import as_data
from triage.values.errors import InputError

MOST_BYTES = 8 * 1024 * 1024
"""Of a candidate's files; every other body is far smaller."""


LIMITS = "barrelwise_limits"
"""The app's extension that says what trying a candidate may take, where that is not the usual."""

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
    losses = fields.List(
        fields.Dict(),
        metadata={"description": "What the live one does for safety and it does not: {id, edit, what} each"},
    )


class PublishIn(Schema):
    version = text(80, required=True)
    note = text(MOST_NOTE, required=True, metadata={"description": "Why"})
    accept = fields.Dict(
        keys=text(20),
        values=text(MOST_NOTE),
        load_default=dict,
        metadata={"description": "Each safety loss by its id -> why it is accepted"},
    )
    at = fields.AwareDateTime(
        load_default=None,
        allow_none=True,
        format="iso",
        metadata={"description": "When it goes live, with its offset; null: now"},
    )


class AgreeIn(Schema):
    version = text(80, required=True)
    note = text(MOST_NOTE, required=True, metadata={"description": "Why"})


class RollbackIn(Schema):
    version = text(80, load_default=None, allow_none=True, metadata={"description": "Else the one before"})
    note = text(MOST_NOTE, required=True, metadata={"description": "Why"})


class LogLineOut(Schema):
    at = fields.String()
    stage = fields.String(
        metadata={"description": "checked, replayed, agreed, accepted, published or rolled back"}
    )
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


@blueprint.route("")
class LiveView(MethodView):
    @roles("ops")
    @blueprint.response(200, RulebookOut)
    def get(self) -> Any:
        """The live rulebook, who published it and why, and what happened before."""
        serving = service().rulebook
        return {
            **as_data(rulebooks.live(service())),
            "title": serving.title,
            "serving": serving.version,
            "log": [as_data(line) for line in rulebooks.log(service())],
        }


@blueprint.route("/check")
class Check(MethodView):
    @roles("ops")
    @body_up_to(MOST_BYTES)
    @idempotent_work
    @blueprint.arguments(CandidateIn)
    @blueprint.response(200, CheckOut)
    def post(self, body: dict[str, Any]) -> Any:
        """Read, compile and try a candidate in a process of its own, and run its cases."""
        try:
            limits = cast(Limits, current_app.extensions.get(LIMITS, USUAL))
            version = rulebooks.check_candidate(service(), body["files"], caller(), limits)
        except InputError as error:
            problems = [{"message": item.message, "file": item.file} for item in error.told]
            return {"ok": False, "version": None, "problems": problems, "losses": []}
        losses = [loss.as_data() for loss in rulebooks.losses_against_live(service(), version)]
        return {"ok": True, "version": version, "problems": [], "losses": losses}


@blueprint.route("/publish")
class Publish(MethodView):
    @roles("ops")
    @idempotent
    @blueprint.arguments(PublishIn)
    @blueprint.response(200, PublicationOut)
    def post(self, body: dict[str, Any]) -> Any:
        """Publish a replayed candidate, in the name of the token that asks: now, or `at` a time to come.

        The answer is what is live then; a scheduled one stands in the log.
        """
        accepting, accept = 'send it in "accept" with its reason', body["accept"]
        note = body["note"]
        if body["at"] is not None:
            rulebooks.schedule(service(), body["version"], caller(), note, body["at"], accept, accepting)
            return as_data(rulebooks.live(service()))
        return as_data(rulebooks.publish(service(), body["version"], caller(), note, accept, accepting))


@blueprint.route("/agree")
class Agree(MethodView):
    @roles("ops")
    @idempotent
    @blueprint.arguments(AgreeIn)
    @blueprint.response(200, PublicationOut)
    def post(self, body: dict[str, Any]) -> Any:
        """Say the second person's yes to a candidate; the answer is what is live."""
        rulebooks.agree(service(), body["version"], caller(), body["note"])
        return as_data(rulebooks.live(service()))


@blueprint.route("/rollback")
class Rollback(MethodView):
    @roles("ops")
    @idempotent
    @blueprint.arguments(RollbackIn)
    @blueprint.response(200, PublicationOut)
    def post(self, body: dict[str, Any]) -> Any:
        """Publish a version that was live before."""
        return as_data(rulebooks.rollback(service(), body["version"], caller(), body["note"]))


@blueprint.route("/tables.dmn")
class Tables(MethodView):
    @roles("ops", "reporter")
    @blueprint.response(
        200, {"type": "string", "format": "binary"}, content_type="application/xml", description="DMN 1.5 XML"
    )
    def get(self) -> Any:
        """The limit tables and the live policy as DMN 1.5 XML."""
        rulebook = service().rulebook
        content = write_model(export_model(rulebook, rulebooks.files_of(service(), rulebook.version)))
        return Response(
            content,
            content_type="application/xml",
            headers={"Content-Disposition": f'attachment; filename="tables-{rulebook.version[7:19]}.dmn"'},
        )
