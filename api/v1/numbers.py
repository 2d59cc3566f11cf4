"""`GET /v1/numbers`: what the program did in a period, in numbers."""

from typing import Any

from flask.views import MethodView
from marshmallow import Schema, fields

from api.http.auth import roles, service
from api.http.json_bodies import Blueprint
from api.v1.schemas import text
from triage.repairs.period import USUAL_DAYS
from triage.repairs.period_numbers import DEFINITIONS
from triage.service import numbers

blueprint = Blueprint("numbers", __name__, url_prefix="/v1", description="The program in numbers")

SHARE = "Between 0 and 1; null of nothing"


def _said(name: str) -> dict[str, Any]:
    return {"metadata": {"description": DEFINITIONS[name]}}


class NumbersQuery(Schema):
    since = text(10, metadata={"description": f"First day (UTC); else {USUAL_DAYS} days are counted"})
    until = text(10, metadata={"description": "Last day (UTC), counted too; else today"})


class PartOut(Schema):
    count = fields.Integer()
    of = fields.Integer()
    share = fields.Float(allow_none=True, metadata={"description": SHARE})


class HoursOut(Schema):
    median = fields.Float(allow_none=True)
    p90 = fields.Float(allow_none=True)


class HoldsOut(Schema):
    open = fields.Integer()
    median_hours = fields.Float(allow_none=True)


class ConfirmedCauseOut(Schema):
    cause = fields.String()
    title = fields.String()
    tickets = fields.Integer()


class CheckNumbersOut(Schema):
    check = fields.String()
    title = fields.String()
    done = fields.Integer(metadata={"description": "Fixed or not fixed"})
    cured = fields.Integer()
    could_not_do = fields.Integer()
    cure_share = fields.Float(allow_none=True, metadata={"description": SHARE})
    confirmed = fields.Integer(metadata={"description": "Of those done, on tickets with a confirmed cause"})
    confirmed_cure_share = fields.Float(allow_none=True, metadata={"description": SHARE})
    rulebook = fields.Float(allow_none=True, metadata={"description": SHARE})


class ContractorNumbersOut(Schema):
    contractor = fields.String(metadata={"description": "Its id, or not_on_record"})
    calls = fields.Integer()
    visits_sent = fields.Integer()
    spend_closed = fields.String(metadata={"description": "Such as 312.40 USD"})
    outside_agreement = fields.String(metadata={"description": "What of the bills is not agreed"})
    repeats = fields.Integer()


def _counts(name: str) -> fields.Dict:
    return fields.Dict(keys=fields.String(), values=fields.Integer(), **_said(name))


class NumbersOut(Schema):
    since = fields.String(metadata={"description": "First day"})
    until = fields.String(metadata={"description": "Last day"})
    currency = fields.String()
    opened = fields.Integer(**_said("opened"))
    by_first_outcome = _counts("by_first_outcome")
    by_last_outcome = _counts("by_last_outcome")
    by_symptom = _counts("by_symptom")
    closed = fields.Integer(**_said("closed"))
    reopened = fields.Integer(**_said("reopened"))
    cured_in_store = fields.Nested(PartOut, **_said("cured_in_store"))
    visits_sent = fields.Integer(**_said("visits_sent"))
    first_visit_fix = fields.Nested(PartOut, **_said("first_visit_fix"))
    hours_to_close = fields.Nested(HoursOut, **_said("hours_to_close"))
    holds = fields.Nested(HoldsOut, **_said("holds"))
    spend_approved = fields.String(**_said("spend_approved"))
    spend_closed = fields.String(**_said("spend_closed"))
    outside_agreement = fields.String(**_said("outside_agreement"))
    repeats = fields.Nested(PartOut, **_said("repeats"))
    causes = fields.List(fields.Nested(ConfirmedCauseOut), **_said("causes"))
    no_fault_found = fields.Integer(metadata={"description": "Of those closed, without a confirmed cause"})
    first_ranked = fields.Nested(PartOut, **_said("first_ranked"))
    checks = fields.List(fields.Nested(CheckNumbersOut), **_said("checks"))
    contractors = fields.List(fields.Nested(ContractorNumbersOut), **_said("contractors"))


@blueprint.route("/numbers")
class Numbers(MethodView):
    @roles("ops", "reporter")
    @blueprint.arguments(NumbersQuery, location="query")
    @blueprint.response(200, NumbersOut)
    def get(self, query: dict[str, Any]) -> Any:
        """What the program did in a period: tickets, visits, money, causes, checks, contractors."""
        return numbers.numbers(service(), query.get("since"), query.get("until"))
