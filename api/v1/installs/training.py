"""The register of training: how every store stands, training noted, people who left."""

from __future__ import annotations

from typing import Any

from flask.views import MethodView
from marshmallow import Schema, fields, validate

from api.http.auth import caller, roles, service
from api.http.conditional import idempotent
from api.http.json_bodies import Blueprint
from api.v1.schemas import core, moment, text
from triage.service.installs import training

blueprint = Blueprint("training", __name__, url_prefix="/v1/training", description="Who was trained")
KEEPERS = ("agent", "technician", "ops")
"""Who installs, or plans it."""


class TrainingQuery(Schema):
    view = fields.String(
        load_default="all",
        validate=validate.OneOf(training.VIEWS),
        metadata={"description": "due: stores to be trained now; soon: within 30 days as well; all"},
    )
    site = text(64)
    contractor = text(64, metadata={"description": "Stores with a machine in its care"})


class TrainedIn(Schema):
    site = text(64, required=True)
    people = fields.List(text(200), required=True)
    topics = fields.List(text(64), required=True, metadata={"description": "Ids as in /v1/installs/form"})
    by = text(200, metadata={"description": "Who trained them; the caller, if left out"})
    signed = text(200, required=True, metadata={"description": "Who of the store signed"})
    at = moment("now, if left out")


class LeftIn(Schema):
    on = core("string", "The day, such as 2026-12-03; today, if left out", format="date")


class PersonOut(Schema):
    training = fields.Integer(metadata={"description": "Its number"})
    person = fields.String()
    topics = fields.List(fields.String())
    trained_on = fields.String()
    by = fields.String()
    signed = fields.String()
    install = fields.String(allow_none=True, metadata={"description": "The installation that says so"})
    counts_until = fields.String()
    left_on = fields.String(allow_none=True, metadata={"description": "Does not work there any more"})


class StoreOut(Schema):
    site = fields.String()
    name = fields.String()
    town = fields.String()
    standing = fields.String(validate=validate.OneOf(("due", "soon", "kept")))
    missing = fields.List(
        fields.String(), metadata={"description": "Topics that nobody who works there was trained on in time"}
    )
    due_on = fields.String(allow_none=True, metadata={"description": "The last day of the next topic"})
    people = fields.List(fields.Nested(PersonOut), metadata={"description": "Those who left come last"})


class StoresOut(Schema):
    items = fields.List(fields.Nested(StoreOut))


NOTED = {"site": "halt-001", "people": ["Dana"], "topics": ["filter", "clean"], "signed": "Dana"}


@blueprint.route("")
class Register(MethodView):
    @roles(*KEEPERS)
    @blueprint.arguments(TrainingQuery, location="query")
    @blueprint.response(200, StoresOut)
    def get(self, query: dict[str, str]) -> Any:
        """Stores with their trained people, by name; a technician's contractor's own."""
        found = training.stores(service(), caller(), query.pop("view"), query)
        return {"items": [one.data() for one in found]}

    @roles(*KEEPERS)
    @idempotent
    @blueprint.arguments(TrainedIn, example=NOTED)
    @blueprint.response(201, StoreOut)
    def post(self, body: dict[str, Any]) -> Any:
        """People trained after the installation; its own training step is noted here by itself."""
        return training.note(service(), body, caller()).data()


@blueprint.route("/<int:number>/left")
class Left(MethodView):
    @roles(*KEEPERS)
    @idempotent
    @blueprint.arguments(LeftIn, example={"on": "2026-12-03"})
    @blueprint.response(201, StoreOut)
    def post(self, body: dict[str, Any], number: int) -> Any:
        """Whoever this training is of left the store."""
        return training.left(service(), number, body, caller()).data()
