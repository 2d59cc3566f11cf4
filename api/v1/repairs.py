"""Estimates, approvals and close-outs of a ticket; claims and spend over all of them."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from flask import Response
from flask.views import MethodView

from api.http.auth import READERS, caller, roles, service
from api.http.conditional import etag, idempotent, wanted_version
from api.http.json_bodies import Blueprint
from api.http.media import as_text, wants
from api.http.problems import problem
from api.v1 import repair_schemas, schemas
from api.v1.views import estimate_json, ticket_json
from triage.records.ticket import Ticket
from triage.repairs.exports import CLAIM_COLUMNS, SPEND_COLUMNS, as_csv
from triage.service import repairs
from triage.service.numbers import claims, spend
from triage.service.outgoing.ask import ask

blueprint = Blueprint("repairs", __name__, url_prefix="/v1", description="Repairs and money")


def _with_etag(ticket: Ticket, body: Any) -> Any:
    return body, {"ETag": etag(ticket.version)}


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
    @blueprint.arguments(repair_schemas.EstimateIn)
    @blueprint.response(201, repair_schemas.EstimateOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """An estimate, answered approve, hold or swap; sent again it is a revision."""
        ticket = repairs.estimate(service(), ticket_id, body, caller(), wanted_version())
        return _with_etag(ticket, estimate_json(ticket))


@blueprint.route("/tickets/<ticket_id>/approvals")
class Approvals(MethodView):
    @roles("ops", "authority")
    @idempotent
    @blueprint.arguments(repair_schemas.ApprovalIn)
    @blueprint.response(201, schemas.TicketOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """An authority's yes, no, or yes up to an amount, with the reason."""
        ticket = repairs.approve(service(), ticket_id, body, caller(), wanted_version())
        return _with_etag(ticket, ticket_json(ticket))


@blueprint.route("/tickets/<ticket_id>/ask")
class Ask(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(repair_schemas.AskIn)
    @blueprint.response(201, repair_schemas.AskedOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """E-mail with a link that is valid once to who may approve; it is shown to nobody else."""
        asked = ask(service(), ticket_id, caller(), body.get("person"))
        return {"asked": [{**asdict(one), "until": one.until.isoformat()} for one in asked]}


@blueprint.route("/tickets/<ticket_id>/close")
class Close(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(repair_schemas.CloseIn)
    @blueprint.response(200, schemas.TicketOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """What it was, what fixed it, and what it cost."""
        ticket = repairs.close(service(), ticket_id, body, caller(), wanted_version())
        if ticket.state == "open":
            return _heard_at_closing(ticket)
        return _with_etag(ticket, ticket_json(ticket))


@blueprint.route("/tickets/<ticket_id>/reopen")
class Reopen(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(repair_schemas.ReopenIn)
    @blueprint.response(200, schemas.TicketOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """A closed ticket is worked on again, and redecided."""
        ticket = repairs.reopen(service(), ticket_id, body["why"], caller(), wanted_version())
        return _with_etag(ticket, ticket_json(ticket))


@blueprint.route("/claims")
class Claims(MethodView):
    @roles(*READERS)
    @blueprint.arguments(repair_schemas.ClaimsQuery, location="query")
    @blueprint.response(200, repair_schemas.ClaimsOut)
    def get(self, query: dict[str, Any]) -> Any:
        """The lines that warranty pays, of closed tickets; as CSV with Accept: text/csv."""
        rows = claims(service(), caller(), query.get("since"), query.get("until"))
        return as_text(as_csv(CLAIM_COLUMNS, rows), "text/csv") if wants("text/csv") else {"items": rows}


@blueprint.route("/spend")
class Spend(MethodView):
    @roles(*READERS)
    @blueprint.arguments(repair_schemas.SpendQuery, location="query")
    @blueprint.response(200, repair_schemas.SpendOut)
    def get(self, query: dict[str, Any]) -> Any:
        """What was spent, by contractor, machine or cause; as CSV with Accept: text/csv."""
        by = query["by"]
        rows = spend(service(), caller(), by, query.get("since"), query.get("until"))
        if wants("text/csv"):
            return as_text(as_csv((by, *SPEND_COLUMNS), rows), "text/csv")
        return {"by": by, "items": rows}
