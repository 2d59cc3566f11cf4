"""Reports become tickets; answers and check results decide them again. `/v1/triage` stores nothing."""

from typing import Any

from flask import url_for
from flask.views import MethodView

from api.http.auth import READERS, caller, roles, service
from api.http.conditional import idempotent, wanted_version
from api.http.json_bodies import Blueprint
from api.v1 import schemas
from api.v1.views import event_json, moment_in_query, ticket_row, with_etag
from triage.records.decision_json import as_json
from triage.service import calls, dangers, tickets

blueprint = Blueprint("tickets", __name__, url_prefix="/v1", description="Reports and their tickets")


@blueprint.route("/triage")
class Triage(MethodView):
    @roles(*READERS)
    @blueprint.arguments(schemas.TriageIn)
    @blueprint.response(200, schemas.DecisionOut)
    def post(self, body: dict[str, Any]) -> Any:
        """Decide a report without storing anything."""
        record = body.pop("machine_record", None)
        return as_json(tickets.decide_once(service(), body, record, viewer=caller()))


@blueprint.route("/reports")
class Reports(MethodView):
    @roles("agent", "ops")
    @idempotent
    @blueprint.arguments(schemas.ReportIn)
    @blueprint.response(201, schemas.TicketOut)
    def post(self, body: dict[str, Any]) -> Any:
        """A report in, a ticket with its decision out."""
        ticket = tickets.open_ticket(service(), body, caller())
        body, headers = with_etag(ticket)
        return body, headers | {"Location": url_for("tickets.OneTicket", ticket_id=ticket.id)}


@blueprint.route("/tickets")
class Tickets(MethodView):
    @roles(*READERS)
    @blueprint.arguments(schemas.TicketsQuery, location="query")
    @blueprint.response(200, schemas.TicketPageOut)
    def get(self, query: dict[str, Any]) -> Any:
        """Tickets, newest first, a page at a time."""
        cursor, limit = query.pop("cursor", None), query.pop("limit")
        if "danger" in query:
            query["danger"] = "true" if query["danger"] else "false"
        for name in ("due_before", "changed_since"):
            if name in query:
                query[name] = moment_in_query(query[name], name).isoformat()
        query |= {"priority": str(query["priority"])} if "priority" in query else {}
        page = tickets.tickets(service(), caller(), query, cursor, limit)
        return {"items": [ticket_row(ticket) for ticket in page.tickets], "next": page.next_cursor}


@blueprint.route("/tickets/<ticket_id>")
class OneTicket(MethodView):
    @roles(*READERS, "authority")
    @blueprint.response(200, schemas.TicketOut)
    def get(self, ticket_id: str) -> Any:
        """The ticket as it stands; its ETag goes into If-Match of a change."""
        return with_etag(tickets.ticket(service(), ticket_id, caller()))


@blueprint.route("/tickets/<ticket_id>/events")
class Events(MethodView):
    @roles(*READERS, "authority")
    @blueprint.response(200, schemas.EventsOut)
    def get(self, ticket_id: str) -> Any:
        """Everything that happened, in order."""
        return {"items": [event_json(event) for event in tickets.events(service(), ticket_id, caller())]}


@blueprint.route("/tickets/<ticket_id>/answers")
class Answers(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(schemas.AnswersIn)
    @blueprint.response(200, schemas.TicketOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """More facts, or that nobody can tell them; the ticket is redecided."""
        answers, unknown = body["answers"], body["unknown"]
        return with_etag(
            tickets.answer(service(), ticket_id, answers, caller(), wanted_version(), unknown=unknown)
        )


@blueprint.route("/tickets/<ticket_id>/details")
class Details(MethodView):
    @roles("agent", "ops")
    @idempotent
    @blueprint.arguments(schemas.DetailsIn)
    @blueprint.response(200, schemas.TicketOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """Told after the report: who called, a number, a note, which machine it is; then it is redecided."""
        return with_etag(calls.add_details(service(), ticket_id, body, caller(), wanted_version()))


@blueprint.route("/tickets/<ticket_id>/checks")
class Checks(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(schemas.CheckIn)
    @blueprint.response(200, schemas.TicketOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """What came of a check; the ticket is redecided."""
        check, result, together = body["check"], body["result"], body["together"]
        return with_etag(
            tickets.record_check(service(), ticket_id, check, result, caller(), wanted_version(), together)
        )


@blueprint.route("/tickets/<ticket_id>/dangers/<caution>/clear")
class ClearDanger(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(schemas.ClearIn)
    @blueprint.response(200, schemas.TicketOut)
    def post(self, body: dict[str, Any], ticket_id: str, caution: str) -> Any:
        """A danger is lifted: its words were misread, or the machine was made safe; redecided."""
        why, how, quotes = body["why"], body.get("how"), body["quotes"]
        return with_etag(
            dangers.lift_danger(service(), ticket_id, caution, why, caller(), wanted_version(), how, quotes)
        )
