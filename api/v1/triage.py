"""`POST /v1/triage`: the whole computation, nothing stored."""

from __future__ import annotations

from typing import Any

from flask.views import MethodView

from api.http.auth import READERS, caller, programme, roles
from api.http.json_bodies import Blueprint
from api.v1.schemas import DecisionOut, TriageIn
from triage.records.decision_json import as_json

blueprint = Blueprint("triage", __name__, url_prefix="/v1", description="A decision without a ticket")


@blueprint.route("/triage")
class Triage(MethodView):
    @roles(*READERS)
    @blueprint.arguments(TriageIn)
    @blueprint.response(200, DecisionOut)
    def post(self, body: dict[str, Any]) -> Any:
        """Decide a report without storing anything."""
        record = body.pop("machine_record", None)
        return as_json(programme().triage_once(body, record, viewer=caller()))
