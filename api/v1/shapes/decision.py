"""A decision as it goes out, and what may be spent now."""

from marshmallow import Schema, fields, validate

from api.http.typed import AsIs, schema_of
from triage.records.decision import (
    CautionSaid,
    ExpectedCost,
    Fault,
    KeepOrSwapSaid,
    LimitAnswer,
    PlanStep,
    Question,
    Visit,
    WarrantyAnswer,
)

DANGERS = {"description": "What stands open: {caution, from, quote, since, ticket}"}
LIMIT = {"description": "As of `decided_at`; /v1/machines/{serial}/limits?ticket= has that of now"}
FAULTS = {
    "description": "Only where two faults are likelier than one: each {symptoms, cause, title, chance}, the "
    "chance being that of its likeliest cause; the plan is then for both"
}


class FactorOut(Schema):
    rule = fields.String()
    text = fields.String()
    held = fields.Boolean()
    probability = fields.Float()
    factor = fields.Float()


class CauseOut(Schema):
    cause = fields.String()
    title = fields.String()
    chance = fields.Float(metadata={"description": "0 to 1"})
    share = fields.Float(metadata={"description": "0 to 1, before any observation"})
    factors = fields.List(fields.Nested(FactorOut))


class ReasonOut(Schema):
    rule = fields.String()
    text = fields.String()
    outcome = fields.String()


class DangerOut(Schema):
    caution = fields.String()
    source = fields.String(data_key="from")
    quote = fields.String(allow_none=True)
    since = fields.String(metadata={"description": "RFC 3339"})
    ticket = fields.String(allow_none=True, metadata={"description": "The one that it was raised on"})


class DecisionOut(Schema):
    """A decision. Money is a text in the currency of `expected_cost.currency`."""

    ticket = fields.String(allow_none=True)
    outcome = fields.String(validate=validate.OneOf(["fix_in_store", "dispatch", "approve", "hold", "swap"]))
    reasons = fields.List(fields.Nested(ReasonOut))
    overruled = fields.List(fields.Nested(ReasonOut))
    causes = fields.List(fields.Nested(CauseOut))
    faults = fields.List(AsIs(schema_of(Fault)), metadata=FAULTS)
    plan = fields.List(AsIs(schema_of(PlanStep)))
    expected_cost = AsIs(schema_of(ExpectedCost, currency=fields.String()))
    questions = fields.List(AsIs(schema_of(Question)))
    cautions = fields.List(AsIs(schema_of(CautionSaid)))
    warranty = AsIs(schema_of(WarrantyAnswer))
    limit = AsIs(schema_of(LimitAnswer), metadata={"description": LIMIT})
    dangers = fields.List(AsIs(DangerOut), metadata=DANGERS)
    waits_for = fields.List(
        fields.String(), metadata={"description": "Facts to know before anybody goes near the machine"}
    )
    priority = fields.Integer(metadata={"description": "The most urgent of all that holds"})
    skill = fields.String(metadata={"description": "The strongest that is asked for"})
    visit = AsIs(schema_of(Visit), allow_none=True)
    approved_up_to = fields.String(allow_none=True, metadata={"description": "The amount authorized"})
    solved = fields.Boolean(metadata={"description": "A check fixed it; the ticket can be closed"})
    facts = fields.Dict(metadata={"description": "Fact -> {value, from}"})
    computed_facts = fields.Dict(metadata={"description": "The computed facts the policy rules saw"})
    keep_or_swap = AsIs(
        schema_of(KeepOrSwapSaid),
        allow_none=True,
        metadata={"description": "Keeping against swapping, by year, and what number would have changed it"},
    )
    fired = fields.List(fields.String(), metadata={"description": "Ids of the rules that fired"})
    notes = fields.List(fields.String(), metadata={"description": "How the decision was made"})
    decided_at = fields.String(metadata={"description": "RFC 3339"})
    engine = fields.String()
    currency = fields.String()
    rulebook = fields.String(metadata={"description": "sha256:…"})


class LimitNowOut(Schema):
    nte = fields.String(metadata={"description": "The most that may be spent", "example": "350.00"})
    component = fields.String(allow_none=True)
    spent_on_ticket = fields.String()
    spent_12_months = fields.String()
    promised = fields.String(metadata={"description": "To the machine's other tickets"})
    headroom = fields.String(metadata={"description": "What is left", "example": "212.50"})
    currency = fields.String(metadata={"example": "USD"})
    after_hours = fields.Boolean()
    after_hours_agreed = fields.Boolean(allow_none=True)
    authorization = fields.Dict(allow_none=True)
    table = fields.String(allow_none=True)
    notes = fields.List(fields.String())
    beyond = fields.Dict(allow_none=True, metadata={"description": "Who may say yes to more"})
    above = fields.String(allow_none=True)
    ask = fields.Dict(allow_none=True)
    authorities = fields.List(fields.Dict())
