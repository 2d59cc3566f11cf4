"""The exchange of a ticket's machine for a depot unit."""

from typing import Any

from flask.views import MethodView
from marshmallow import Schema, fields

from api.http.auth import READERS, caller, roles, service
from api.http.conditional import etag, idempotent, wanted_version
from api.http.json_bodies import Blueprint
from api.v1.schemas import core, moment
from triage.service import swaps
from triage.service.swaps import SwapView, swap_as_data

blueprint = Blueprint("swaps", __name__, url_prefix="/v1", description="Swap of a machine")


class SwapIn(Schema):
    unit = core(
        ["string", "null"],
        "Serial of the depot unit; null takes back the one set aside",
        required=True,
        allow_none=True,
    )


class SwapDoneIn(Schema):
    old_unit = core("string", required=True, enum=["refurbish", "scrap", "return"])
    at = moment("now, if left out")


class UnitOut(Schema):
    unit = fields.String(metadata={"description": "Its serial"})
    model = fields.String()
    volts = fields.Integer()
    amps = fields.Integer(metadata={"description": "Rating of the circuit that its plug is for"})
    seal_style = fields.String()
    ready_since = fields.String()
    depot = fields.String()
    shipped_on = fields.String(metadata={"description": "Its warranty counts from its own dates"})
    price = fields.String(allow_none=True)
    fits = fields.Boolean()
    reasons = fields.List(fields.String(), metadata={"description": "Why it does not fit"})
    to_check = fields.List(fields.String(), metadata={"description": "What no record tells"})


class CustodyOut(Schema):
    serial = fields.String()
    step = fields.String(
        metadata={"description": "at_depot, on_the_way, installed, returned, scrapped or refurbished"}
    )
    at = fields.String()
    who = fields.String()
    ticket = fields.String(allow_none=True)
    other = fields.String(allow_none=True, metadata={"description": "The serial it was swapped for"})
    place = fields.String(metadata={"description": "A depot or a site's id"})


class SwapOut(Schema):
    ticket = fields.String()
    machine = fields.String(allow_none=True)
    refused = fields.String(allow_none=True, metadata={"description": "Why nothing can be swapped"})
    priority = fields.Integer(allow_none=True)
    due = fields.String(allow_none=True)
    reserved = fields.String(allow_none=True, metadata={"description": "The unit on its way"})
    units = fields.List(fields.Nested(UnitOut), metadata={"description": "Units at a depot, best first"})
    custody = fields.List(fields.Nested(CustodyOut))


def _answer(view: SwapView) -> tuple[dict[str, Any], dict[str, str]]:
    return swap_as_data(view), {"ETag": etag(view.ticket.version)}


@blueprint.route("/tickets/<ticket_id>/swap")
class Swap(MethodView):
    @roles(*READERS)
    @blueprint.response(200, SwapOut)
    def get(self, ticket_id: str) -> Any:
        """The depot units held against the machine, and the chain of custody."""
        return _answer(swaps.swap(service(), ticket_id, caller()))

    @roles("agent", "ops")
    @idempotent
    @blueprint.arguments(SwapIn)
    @blueprint.response(200, SwapOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """A unit is set aside and sent."""
        return _answer(swaps.reserve(service(), ticket_id, body, caller(), wanted_version()))


@blueprint.route("/tickets/<ticket_id>/swap/done")
class SwapDone(MethodView):
    @roles("technician", "ops")
    @idempotent
    @blueprint.arguments(SwapDoneIn)
    @blueprint.response(200, SwapOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """The unit stands in the old one's place, and the old one goes where it is to go."""
        return _answer(swaps.confirm(service(), ticket_id, body, caller(), wanted_version()))
