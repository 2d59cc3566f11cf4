"""Sites and machines to act on, as they are sent."""

from typing import Any

from marshmallow import Schema, fields

from triage.repairs.statistics import TOO_FEW

TO_SUM = "How many days are just being summed; above 0 the numbers are not whole yet"


def told(description: str) -> dict[str, Any]:
    """What a field means, for the description of the API."""
    return {"metadata": {"description": description}}


class PeriodOut(Schema):
    first = fields.Date()
    last = fields.Date()


class StoreRepeatsOut(Schema):
    site = fields.String()
    reports = fields.Integer()
    repeats = fields.Integer()
    limit = fields.Float(**told("The share that 39 of 40 such sites stay below by chance"))
    most = fields.Integer(**told("So many come again by chance at most, in 39 of 40 such sites"))
    stands_out = fields.Boolean(**told("More came again than that, and more than one"))


class OftenDownOut(Schema):
    machine = fields.String(attribute="name")
    calls = fields.Integer()
    expected = fields.Float()
    rate = fields.Float(**told("Times the fleet's, drawn towards it"))


class OftenDownSiteOut(OftenDownOut):
    class Meta:
        exclude = ("machine",)

    site = fields.String(attribute="name")


class RisingOut(Schema):
    machine = fields.String()
    calls = fields.Integer()
    z = fields.Float(**told("Laplace's; above 0 the calls come closer together"))
    false = fields.Float(**told("Share of false alarms expected among this one and those above"))


class SiteCareOut(Schema):
    site = fields.String()
    name = fields.String()
    machines = fields.Integer(**told("With care on record"))
    kept = fields.Integer(**told("Those with nothing overdue today"))


class RateOut(Schema):
    machines = fields.Integer(**told("Of care: how often a machine began a month so"))
    calls = fields.Integer()
    years = fields.Float(**told("Of service of a machine"))
    a_year = fields.Float(allow_none=True, **told("Calls a year of a machine"))
    low = fields.Float(**told("Of its 95 % interval"))
    high = fields.Float(allow_none=True)
    too_few = fields.Boolean(**told(f"Of fewer than {TOO_FEW} calls: nothing is to be read from it"))


class ComparedOut(Schema):
    ratio = fields.Float()
    low = fields.Float(**told("Of its 95 % interval"))
    high = fields.Float()
    says = fields.String(**told("more, fewer, or neither as far as seen"))


class CommissionedOut(Schema):
    machine = fields.String()
    missing = fields.Integer(**told("Points of the checklist that are not written down"))
    failed = fields.Integer()
    calls = fields.Integer()


class ToActOut(Schema):
    period = fields.Nested(PeriodOut)
    places = fields.List(fields.Nested(StoreRepeatsOut), **told("Those furthest above the limit first"))
    repeat_share = fields.Float(allow_none=True)
    often_down = fields.List(fields.Nested(OftenDownOut), **told("Machines that call more than the fleet"))
    often_down_sites = fields.List(fields.Nested(OftenDownSiteOut), **told("Their calls are their machines'"))
    rising = fields.List(fields.Nested(RisingOut))
    tested = fields.Integer(**told("Machines with enough calls to say whether they rise"))
    sites = fields.List(fields.Nested(SiteCareOut), **told("Those with the most overdue first"))
    kept = fields.Nested(RateOut, **told("In months, of the last 12, that a machine began so"))
    overdue = fields.Nested(RateOut)
    overdue_to_kept = fields.Nested(ComparedOut, allow_none=True)
    commissioning = fields.Dict(
        keys=fields.String(),
        values=fields.Nested(RateOut),
        **told("complete; missing: not all written down; failed: a point failed"),
    )
    failed_to_others = fields.Nested(ComparedOut, allow_none=True)
    incomplete = fields.List(fields.Nested(CommissionedOut))
    days_to_sum = fields.Integer(**told(TO_SUM))
    to_judge = fields.Integer(**told("Commissionings that are just being judged, and not counted yet"))
