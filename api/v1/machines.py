"""A machine's record, what may be spent on it, and its care."""

from datetime import date, datetime
from typing import Any

from flask.views import MethodView

from api.http.auth import READERS, caller, roles, service
from api.http.conditional import idempotent
from api.http.json_bodies import Blueprint, as_text, wants
from api.v1 import schemas
from api.v1.limits_text import limits_text
from api.v1.views import machine_json
from triage.decide.limits_of_machine import Job
from triage.service import machines
from triage.values.errors import InputError, Problem
from triage.values.time_zones import day_of, moment_of

blueprint = Blueprint("machines", __name__, url_prefix="/v1", description="Machines")


@blueprint.route("/machines/<serial>")
class OneMachine(MethodView):
    @roles(*READERS)
    @blueprint.response(200, schemas.MachineOut)
    def get(self, serial: str) -> Any:
        """The record, care log, repairs and tickets."""
        return machine_json(machines.machine(service(), serial, caller()))


@blueprint.route("/machines/<serial>/limits")
class Limits(MethodView):
    @roles(*READERS)
    @blueprint.arguments(schemas.LimitsQuery, location="query")
    @blueprint.response(200, schemas.LimitsOut)
    def get(self, query: dict[str, Any], serial: str) -> Any:
        """Warranty, limit, spent, headroom, who may approve more; a short text with Accept: text/plain."""
        at = _moment(query["at"]) if "at" in query else None
        job = Job(query.get("component"), query.get("after_hours"))
        ticket, contractor = query.get("ticket"), query.get("contractor")
        limits = machines.limits(service(), serial, contractor, at, caller(), ticket, job)
        if wants("text/plain"):
            return as_text(limits_text(limits), "text/plain")
        return limits


@blueprint.route("/machines/<serial>/care")
class Care(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(schemas.CareIn)
    @blueprint.response(201, schemas.MachineOut)
    def post(self, body: dict[str, Any], serial: str) -> Any:
        """Filter rinsed, fully cleaned, or commissioned with the installer's checklist."""
        return machine_json(machines.record_care(service(), serial, body, caller()))


def _moment(text: str) -> datetime | date:
    try:
        return day_of(text) if len(text) == len("2026-01-31") else moment_of(text)
    except ValueError as error:
        raise InputError([Problem(str(error), "query:at")]) from None
