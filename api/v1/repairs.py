"""Estimates, approvals and close-outs of a ticket; claims and spend over all of them."""

from __future__ import annotations

from itertools import chain
from typing import Any

from flask import Response
from flask.views import MethodView
from marshmallow import Schema, fields, validate

from api.http.auth import READERS, caller, roles, service
from api.http.conditional import idempotent, wanted_version
from api.http.json_bodies import Blueprint, as_text, wants
from api.http.problems import problem
from api.v1 import schemas
from api.v1.schemas import TicketOut, core, moment, text
from api.v1.views import estimate_json, ticket_json, with_etag
from triage.records.ticket import Ticket
from triage.repairs.exports import CLAIM_COLUMNS, SPEND_COLUMNS, as_csv
from triage.service import repairs
from triage.service.numbers import all_claims, claims, spend
from triage.service.outgoing.ask import ask
from triage.values.dataclass_json import as_data

LINES = {
    "description": "{kind: trip | distance | labor | second_technician | part | freight | tax, amount, "
    "hours, technicians, number, quantity, serials, component, note}; without an amount, as agreed",
    "example": [{"kind": "trip"}, {"kind": "labor", "hours": 1.5}, {"kind": "part", "number": "FAN-220"}],
}


class EstimateIn(Schema):
    """What is asked for; the core reads it line by line."""

    lines = fields.List(core("object"), required=True, metadata=LINES)
    cause = core("string", "A cause's id; the likeliest, if left out")
    after_hours = core("boolean", "As the ticket says, if left out")
    work_from = moment("when the work begins, instead of after_hours")
    note = text()


class ApprovalIn(Schema):
    estimate = core("integer", "The revision that is answered; 0 before the first")
    answer = core("string", required=True, enum=["yes", "no", "yes_up_to"])
    amount = core("string", "For yes_up_to, such as 600.00 USD")
    authority = core("string", "Whose approval it is; its own token says so")
    person = core("string", "Who spoke as the authority; its own token says so")
    why = core("string", "A sentence", required=True)
    expires_at = moment("as the rulebook says, if left out")


class AskIn(Schema):
    person = text(
        64, metadata={"description": "One of those who may answer; all with an address, if left out"}
    )


class AskedOut(Schema):
    asked = fields.List(fields.Dict(), metadata={"description": "{person, authority, until} of each"})


class CloseIn(Schema):
    cause = core("string", "A cause's id, or no_fault_found", required=True)
    cured_by = core("string", "repair, nothing, or a check's id", required=True)
    lines = fields.List(core("object"), metadata=LINES)
    after_hours = core("boolean", "As the ticket says, if left out")
    work_from = moment("when the work begins, instead of after_hours")
    hours = core(["number", "string"], "Hours on site; those of the labor line, if left out")
    photos = fields.List(core("string"), metadata={"description": "References to photos"})
    authorization = core("string", "The number the costs were approved under")
    made_safe = core(["boolean", "array"], "Cautions whose danger is gone; true for all")
    at = moment("now, if left out")
    note = text()


class ReopenIn(Schema):
    why = text(required=True)


class EstimateOut(TicketOut):
    answer = fields.String(validate=validate.OneOf(["approve", "hold", "swap"]))
    reasons = fields.List(fields.String())
    ask = fields.Dict(allow_none=True, metadata={"description": "For hold: who may approve, how to reach"})
    estimate = fields.Dict(metadata={"description": "Every line: amount, agreed, paid_by; what is outside"})
    authorization = fields.Dict(allow_none=True, metadata={"description": "Number, amount, expiry"})


class DaysQuery(Schema):
    since = text(10, metadata={"description": "First day of closing, 2026-01-31 (UTC)"})
    until = text(10, metadata={"description": "Last day of closing (UTC)"})


class ClaimsQuery(DaysQuery):
    cursor = text(200)
    limit = fields.Integer(
        load_default=200,
        validate=validate.Range(1, 200),
        metadata={"description": "How many close-outs to list the lines of"},
    )


class SpendQuery(DaysQuery):
    by = fields.String(load_default="contractor", validate=validate.OneOf(["contractor", "machine", "cause"]))


class ClaimsOut(Schema):
    items = fields.List(fields.Dict(), metadata={"description": "A line each that warranty pays"})
    next = fields.String(allow_none=True, metadata={"description": "The cursor of the next page"})


class SpendOut(Schema):
    by = fields.String()
    items = fields.List(fields.Dict())


blueprint = Blueprint("repairs", __name__, url_prefix="/v1", description="Repairs and money")


def _heard_at_closing(ticket: Ticket) -> Response:
    """The words are kept and the danger stands: it is answered, not raised, or nothing would be stored."""
    said = [danger for danger in ticket_json(ticket)["dangers"] if danger["from"] == "words"]
    heard = ", ".join(f"{danger['caution']} (“{danger['quote']}”)" for danger in said)
    detail = (
        f"not closed: a danger is heard in your words and stands open now: {heard}. Close it again with "
        "made_safe where the machine was made safe, or have an agent clear the danger as misread"
    )
    return problem(409, detail, dangers=said)


@blueprint.route("/tickets/<ticket_id>/estimates")
class Estimates(MethodView):
    @roles("technician", "ops")
    @idempotent
    @blueprint.arguments(EstimateIn)
    @blueprint.response(201, EstimateOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """An estimate, answered approve, hold or swap; sent again it is a revision."""
        ticket = repairs.estimate(service(), ticket_id, body, caller(), wanted_version())
        return with_etag(ticket, estimate_json)


@blueprint.route("/tickets/<ticket_id>/approvals")
class Approvals(MethodView):
    @roles("ops", "authority")
    @idempotent
    @blueprint.arguments(ApprovalIn)
    @blueprint.response(201, schemas.TicketOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """An authority's yes, no, or yes up to an amount, with the reason."""
        ticket = repairs.approve(service(), ticket_id, body, caller(), wanted_version())
        return with_etag(ticket)


@blueprint.route("/tickets/<ticket_id>/ask")
class Ask(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(AskIn)
    @blueprint.response(201, AskedOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """E-mail with a link that is valid once to who may approve; it is shown to nobody else."""
        asked = ask(service(), ticket_id, caller(), body.get("person"))
        return {"asked": [as_data(one) for one in asked]}


@blueprint.route("/tickets/<ticket_id>/close")
class Close(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(CloseIn)
    @blueprint.response(200, schemas.TicketOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """What it was, what fixed it, and what it cost."""
        ticket = repairs.close(service(), ticket_id, body, caller(), wanted_version())
        if ticket.state == "open":
            return _heard_at_closing(ticket)
        return with_etag(ticket)


@blueprint.route("/tickets/<ticket_id>/reopen")
class Reopen(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(ReopenIn)
    @blueprint.response(200, schemas.TicketOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """A closed ticket is worked on again, and redecided."""
        ticket = repairs.reopen(service(), ticket_id, body["why"], caller(), wanted_version())
        return with_etag(ticket)


@blueprint.route("/claims")
class Claims(MethodView):
    @roles(*READERS)
    @blueprint.arguments(ClaimsQuery, location="query")
    @blueprint.response(200, ClaimsOut)
    def get(self, query: dict[str, Any]) -> Any:
        """The lines that warranty pays, of closed tickets, by page; all as CSV with Accept: text/csv."""
        days = query.get("since"), query.get("until")
        if wants("text/csv"):
            pages = all_claims(service(), caller(), *days)
            head = as_csv(CLAIM_COLUMNS, next(pages))
            rest = (as_csv(CLAIM_COLUMNS, page, head=False) for page in pages)
            return as_text(chain([head], rest), "text/csv")
        rows, following = claims(service(), caller(), *days, query.get("cursor"), query["limit"])
        return {"items": rows, "next": following}


@blueprint.route("/spend")
class Spend(MethodView):
    @roles(*READERS)
    @blueprint.arguments(SpendQuery, location="query")
    @blueprint.response(200, SpendOut)
    def get(self, query: dict[str, Any]) -> Any:
        """What was spent, by contractor, machine or cause; as CSV with Accept: text/csv."""
        by = query["by"]
        rows = spend(service(), caller(), by, query.get("since"), query.get("until"))
        if wants("text/csv"):
            return as_text(as_csv((by, *SPEND_COLUMNS), rows), "text/csv")
        return {"by": by, "items": rows}
