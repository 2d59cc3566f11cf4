"""`GET /v1/numbers`: what the program did in a period, in numbers."""

from typing import Any

from flask.views import MethodView
from marshmallow import Schema, fields

from api.http.auth import roles, service
from api.http.json_bodies import Blueprint
from api.v1.schemas import text
from api.v1.shapes.to_act import TO_SUM, PeriodOut, ToActOut, told
from triage.repairs.period import USUAL_DAYS
from triage.repairs.period_numbers import DEFINITIONS
from triage.repairs.statistics import TOO_FEW
from triage.service import numbers
from triage.service.fleet.acting import DAYS, to_act
from triage.service.numbers import GROUPED_BY

blueprint = Blueprint("numbers", __name__, url_prefix="/v1", description="The program in numbers")

SHARE = "Between 0 and 1; null of nothing"


def _said(name: str) -> dict[str, Any]:
    return {"metadata": {"description": DEFINITIONS[name]}}


class NumbersQuery(Schema):
    since = text(10, metadata={"description": f"First day (UTC); else {USUAL_DAYS} days are counted"})
    until = text(10, metadata={"description": "Last day (UTC), counted too; else today"})
    by = text(16, metadata={"description": f"Also told for each of: {', '.join(GROUPED_BY)}"})
    of = text(100, metadata={"description": "Only of a group, such as site:LH-012; by day, week or month"})


class OverviewQuery(Schema):
    since = text(10, metadata={"description": "First day (UTC); else the last week that is over"})
    until = text(10, metadata={"description": "Last day (UTC), counted too"})


class ToActQuery(Schema):
    since = text(10, metadata={"description": f"First day (UTC); else the last {DAYS} days are counted"})
    until = text(10, metadata={"description": "Last day (UTC), counted too"})


class PartOut(Schema):
    count = fields.Integer()
    of = fields.Integer()
    share = fields.Float(allow_none=True, **told(SHARE))
    low = fields.Float(**told("Of its 95 % interval (Wilson)"))
    high = fields.Float()
    too_few = fields.Boolean(**told(f"Of fewer than {TOO_FEW}: nothing is to be read from it"))


class HoursOut(Schema):
    median = fields.Float(allow_none=True)
    p90 = fields.Float(allow_none=True)


class HoldsOut(Schema):
    open = fields.Integer()
    median_hours = fields.Float(allow_none=True)


class SwapsSavedOut(Schema):
    of = fields.Integer(**told("Swaps whose decision compared keeping with swapping"))
    cost = fields.String(**told("Freight, labor and set-up, such as 780.00 USD"))
    repair = fields.String(**told("The repairs due that the swaps replaced"))
    keep_year = fields.String(**told("What keeping was said to cost a year"))
    swap_year = fields.String(**told("What swapping was said to cost a year"))
    low = fields.String(allow_none=True, **told("Saved a year, at least; below 0 it cost more"))
    high = fields.String(allow_none=True, **told("Saved a year, at most"))
    too_few = fields.Boolean(**told(f"Of fewer than {TOO_FEW}: nothing is said of what was saved"))


class ConfirmedCauseOut(Schema):
    cause = fields.String()
    title = fields.String()
    tickets = fields.Integer()


class CheckNumbersOut(Schema):
    check = fields.String()
    title = fields.String()
    done = fields.Integer(**told("Fixed or not fixed"))
    cured = fields.Integer()
    could_not_do = fields.Integer()
    cure_share = fields.Nested(PartOut)
    confirmed_cure_share = fields.Nested(PartOut)
    rulebook = fields.Float(allow_none=True, **told(SHARE))


class RuleNumbersOut(Schema):
    rule = fields.String()
    title = fields.String()
    of = fields.Integer(**told("Scored tickets that it spoke on"))
    change = fields.Float(**told("Of the log loss without it, the mean"))
    low = fields.Float()
    high = fields.Float()
    says = fields.String(**told("helps, misleads, neither or too_few"))


class QuestionNumbersOut(Schema):
    fact = fields.String()
    title = fields.String()
    asked = fields.Integer()
    promised = fields.String(**told("What it was said to save on average, such as 3.20 USD"))
    told = fields.Nested(PartOut)
    changed = fields.Nested(PartOut)


class ScoresOut(Schema):
    of = fields.Integer()
    log_loss = fields.Float(allow_none=True)
    brier = fields.Float(allow_none=True)
    too_few = fields.Boolean()


def _counts(name: str) -> fields.Dict:
    return fields.Dict(keys=fields.String(), values=fields.Integer(), **_said(name))


class GroupNumbersOut(Schema):
    key = fields.String()
    opened = fields.Integer(**_said("opened"))
    closed = fields.Integer(**_said("closed"))
    reopened = fields.Integer(**_said("reopened"))
    visits_sent = fields.Integer(**_said("visits_sent"))
    swaps = fields.Integer(**_said("swaps"))
    cured_in_store = fields.Nested(PartOut, **_said("cured_in_store"))
    first_visit_fix = fields.Nested(PartOut, **_said("first_visit_fix"))
    repeats = fields.Nested(PartOut, **_said("repeats"))
    no_fault_found = fields.Nested(PartOut, **_said("no_fault_found"))
    first_ranked = fields.Nested(PartOut, **_said("first_ranked"))
    scores = fields.Nested(ScoresOut, **_said("scores"))
    mean_hours_to_close = fields.Float(allow_none=True)
    spend_approved = fields.String(**_said("spend_approved"))
    spend_closed = fields.String(**_said("spend_closed"))
    outside_agreement = fields.String(**_said("outside_agreement"))
    over_limit = fields.Nested(PartOut, **_said("over_limit"))


class NumbersOut(GroupNumbersOut):
    class Meta:
        exclude = ("key",)

    since = fields.String(**told("First day"))
    until = fields.String(**told("Last day"))
    currency = fields.String()
    days_to_sum = fields.Integer(**told(TO_SUM))
    by_first_outcome = _counts("by_first_outcome")
    by_last_outcome = _counts("by_last_outcome")
    by_symptom = _counts("by_symptom")
    hours_to_close = fields.Nested(HoursOut, **_said("hours_to_close"))
    holds = fields.Nested(HoldsOut, **_said("holds"))
    swaps_saved = fields.Nested(SwapsSavedOut, **_said("swaps_saved"))
    causes = fields.List(fields.Nested(ConfirmedCauseOut), **_said("causes"))
    checks = fields.List(fields.Nested(CheckNumbersOut), **_said("checks"))
    rules = fields.List(fields.Nested(RuleNumbersOut), **_said("rules"))
    questions = fields.List(fields.Nested(QuestionNumbersOut), **_said("questions"))
    groups = fields.List(fields.Nested(GroupNumbersOut), **_said("groups"))


class KeyNumberOut(Schema):
    name = fields.String(**told("As in the numbers of a period"))
    kind = fields.String(**told("count, share, hours or money"))
    now = fields.Float(allow_none=True)
    before = fields.List(fields.Float(allow_none=True), **told("Of the periods before, the oldest first"))
    usual = fields.List(fields.Float(), allow_none=True, **told("From, to: an individuals chart's limits"))
    of = fields.Integer(allow_none=True)
    interval = fields.List(fields.Float(), allow_none=True, **told("95 %, of a share"))
    too_few = fields.Boolean()
    unusual = fields.Boolean()


class BinOut(Schema):
    chance = fields.Float(**told("The mean that was given to the cause ranked first"))
    share = fields.Float(**told("Of those confirmed"))
    of = fields.Integer()
    low = fields.Float()
    high = fields.Float()


class WaitedOut(Schema):
    title = fields.String(**told("store or visit, by the first decision"))
    reports = fields.Integer()
    median = fields.Float(allow_none=True, **told("Hours, Kaplan-Meier"))
    p90 = fields.Float(allow_none=True)


class SavedOut(Schema):
    fixed = fields.Integer(**told("Calls that the store fixed"))
    avoided = fields.List(fields.Integer(), **told("Visits that were not needed, at least and at most"))
    visits = fields.Integer(**told("Visits that say what one costs"))
    mean = fields.Decimal(as_string=True, **told("What a visit costs, after warranty"))
    low = fields.Decimal(as_string=True)
    high = fields.Decimal(as_string=True)
    again = fields.List(fields.Float(), **told("Share of reports that come again, at least and at most"))


class ScoredOut(Schema):
    period = fields.Nested(PeriodOut)
    log_loss = fields.Float(allow_none=True, **told("None of too few; the lower the better"))
    brier = fields.Float(allow_none=True)
    of = fields.Integer(**told("Closed tickets whose cause was confirmed"))


class OverviewOut(Schema):
    period = fields.Nested(PeriodOut)
    span = fields.Nested(PeriodOut, **told("With the periods before; all but the six numbers are of it"))
    numbers = fields.List(fields.Nested(KeyNumberOut))
    reliability = fields.List(fields.Nested(BinOut))
    scores = fields.List(fields.Nested(ScoredOut), **told("Of the periods, oldest first"))
    waited = fields.List(fields.Nested(WaitedOut))
    saved = fields.Nested(SavedOut, allow_none=True)
    currency = fields.String()
    days_to_sum = fields.Integer(**told(TO_SUM))


@blueprint.route("/numbers")
class Numbers(MethodView):
    @roles("ops", "reporter")
    @blueprint.arguments(NumbersQuery, location="query")
    @blueprint.response(200, NumbersOut)
    def get(self, query: dict[str, Any]) -> Any:
        """What the program did in a period: tickets, visits, money, causes, checks, rules, questions.

        With `of` only the numbers that every group has.
        """
        return numbers.numbers(
            service(), **{name: query.get(name) for name in ("since", "until", "by", "of")}
        )


@blueprint.route("/numbers/overview")
class NumbersOverview(MethodView):
    @roles("ops", "reporter")
    @blueprint.arguments(OverviewQuery, location="query")
    @blueprint.response(200, OverviewOut)
    def get(self, query: dict[str, Any]) -> Any:
        """A period at a glance: six numbers with what is usual for them, and whom to look after."""
        return numbers.overview_of(service(), query.get("since"), query.get("until"))


@blueprint.route("/numbers/act")
class NumbersToAct(MethodView):
    @roles("ops", "reporter")
    @blueprint.arguments(ToActQuery, location="query")
    @blueprint.response(200, ToActOut)
    def get(self, query: dict[str, Any]) -> Any:
        """Sites and machines to act on: repeat trouble, frequent and rising calls, care, commissioning."""
        return to_act(service(), query.get("since"), query.get("until"))
