"""Visits of a ticket: scheduled, started, done; each also as iCalendar."""

from typing import Any

from flask import Response, url_for
from flask.views import MethodView
from marshmallow import Schema, fields, validate

from api.http.auth import READERS, caller, roles, service
from api.http.conditional import etag, idempotent, wanted_version
from api.http.json_bodies import Blueprint
from api.v1.schemas import core, moment, text
from triage.records.visit_log import VISIT_STATES, PlannedVisit
from triage.service import visits
from triage.values.dataclass_json import as_data

blueprint = Blueprint("visits", __name__, url_prefix="/v1", description="Visits of a ticket")


class VisitIn(Schema):
    state = fields.String(required=True, validate=validate.OneOf(VISIT_STATES))
    visit = core("integer", "The visit's number; for `scheduled`, to reschedule one that is there")
    at = moment("else the first free time, or now")
    minutes = core("integer", "How long it is planned to take; 90, if left out")
    contractor = core("string", "Who is sent; the best one is chosen, if left out")
    technician = text(100, metadata={"description": "Who comes, as the contractor calls them"})
    way_in = text(200, metadata={"description": "Who lets them in, and where"})


class VisitOut(Schema):
    visit = fields.Integer()
    state = fields.String(metadata={"description": "scheduled, started or done"})
    at = fields.String(metadata={"description": "RFC 3339"})
    minutes = fields.Integer()
    contractor = fields.String(allow_none=True)
    purpose = fields.String(metadata={"description": "The outcome it is for"})
    skill = fields.String()
    priority = fields.Integer(allow_none=True)
    due = fields.String(allow_none=True)
    late = fields.Boolean(metadata={"description": "Planned later than it is due"})
    kit = fields.List(fields.String(), metadata={"description": "Part numbers to carry"})
    technician = fields.String()
    way_in = fields.String()
    passed_over = fields.List(fields.String(), metadata={"description": "Why another contractor comes"})
    revision = fields.Integer(metadata={"description": "How often it was rescheduled"})
    started_at = fields.String(allow_none=True)
    done_at = fields.String(allow_none=True)
    calendar = fields.String(metadata={"description": "Where it is found as iCalendar"})


class VisitsOut(Schema):
    items = fields.List(fields.Nested(VisitOut))


def _visit_json(ticket_id: str, visit: PlannedVisit) -> dict[str, Any]:
    calendar = url_for("visits.VisitCalendar", ticket_id=ticket_id, number=visit.number)
    late = visit.due is not None and visit.at > visit.due
    return as_data(visit) | {"visit": visit.number, "late": late, "calendar": calendar}


@blueprint.route("/tickets/<ticket_id>/visits")
class Visits(MethodView):
    @roles(*READERS)
    @blueprint.response(200, VisitsOut)
    def get(self, ticket_id: str) -> Any:
        """The ticket's visits by number."""
        found = visits.visits(service(), ticket_id, caller())
        return {"items": [_visit_json(ticket_id, visit) for visit in found]}

    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(VisitIn)
    @blueprint.response(201, VisitOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """A visit is scheduled or moved, has started, or is done."""
        ticket, visit = visits.record_visit(service(), ticket_id, body, caller(), wanted_version())
        shown = _visit_json(ticket.id, visit)
        return shown, {"ETag": etag(ticket.version), "Location": shown["calendar"]}


@blueprint.route("/tickets/<ticket_id>/visits/<int:number>.ics")
class VisitCalendar(MethodView):
    @roles(*READERS)
    @blueprint.response(200, content_type="text/calendar")
    def get(self, ticket_id: str, number: int) -> Response:
        """The visit as an iCalendar object, for a calendar to take in."""
        content = visits.visit_calendar(service(), ticket_id, number, caller())
        response = Response(content, content_type="text/calendar; charset=utf-8; method=PUBLISH")
        response.headers["Content-Disposition"] = f'attachment; filename="visit-{number}.ics"'
        return response
