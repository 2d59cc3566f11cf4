"""What goes over the wire: marshmallow schemas, which also make the OpenAPI document.

Shapes only. Whether a symptom, fact or serial exists, and whether an answer fits its fact, is the core's word
(`triage.report_input`), so that every door gives the same errors.
"""

from __future__ import annotations

from marshmallow import Schema, fields, validate

MAX_TEXT = 4000

# marshmallow's own words say what is wrong; these also say how to fix it.
fields.Field.default_error_messages |= {
    "required": "this is missing; add it",
    "null": "this may not be null; leave it out or give a value",
}
fields.String.default_error_messages["invalid"] = "a text is wanted, in quotes"
fields.Integer.default_error_messages["invalid"] = "a whole number is wanted"
fields.List.default_error_messages["invalid"] = "a list is wanted, in square brackets"
fields.Dict.default_error_messages["invalid"] = "an object is wanted, in curly braces"
Schema.error_messages = {
    "unknown": "this key is not known here; remove it or fix its spelling",
    "type": "an object is wanted, in curly braces",
}


def text(limit: int = MAX_TEXT, **kwargs: object) -> fields.String:
    return fields.String(validate=validate.Length(max=limit), **kwargs)  # type: ignore[arg-type]


class ReportIn(Schema):
    machine = text(64, allow_none=True, load_default=None, metadata={"description": "Serial, if known"})
    symptoms = fields.List(text(64), required=True, metadata={"example": ["not_freezing"]})
    reported_at = fields.Raw(metadata={"description": "RFC 3339 with offset; now, if left out"})
    answers = fields.Dict(
        keys=fields.String(),
        values=fields.Raw(allow_none=True),
        metadata={"description": "Facts by id", "example": {"filter_days": 40}},
    )
    checks = fields.List(fields.Dict(), metadata={"description": "Checks already done: {check, result}"})
    note = text()


class TriageIn(ReportIn):
    machine_record = fields.Dict(
        metadata={"description": "A machine's record, for a machine that is not in the program"}
    )


class AnswersIn(Schema):
    answers = fields.Dict(keys=fields.String(), values=fields.Raw(allow_none=True), required=True)


class CheckIn(Schema):
    check = text(64, required=True)
    result = fields.String(required=True, validate=validate.OneOf(["cured", "not_cured", "could_not_do"]))


class CareIn(Schema):
    kind = fields.String(
        required=True, validate=validate.OneOf(["filter_cleaned", "fully_cleaned", "commissioned"])
    )
    at = fields.Raw(metadata={"description": "RFC 3339 with offset; now, if left out"})
    details = fields.Dict(metadata={"description": "For `commissioned`: the installer's checklist"})


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


class DecisionOut(Schema):
    """A decision. Money is a text in the currency of `expected_cost.currency`."""

    ticket = fields.String(allow_none=True)
    outcome = fields.String(validate=validate.OneOf(["fix_in_store", "dispatch", "approve", "hold", "swap"]))
    reasons = fields.List(fields.Nested(ReasonOut))
    overruled = fields.List(fields.Nested(ReasonOut))
    causes = fields.List(fields.Nested(CauseOut))
    plan = fields.List(fields.Dict())
    expected_cost = fields.Dict()
    questions = fields.List(fields.Dict())
    cautions = fields.List(fields.Dict())
    warranty = fields.Dict()
    limit = fields.Dict()
    visit = fields.Dict(allow_none=True)
    approved_up_to = fields.String(allow_none=True, metadata={"description": "The amount authorized"})
    solved = fields.Boolean(metadata={"description": "A check fixed it; the ticket can be closed"})
    facts = fields.Dict(metadata={"description": "Fact -> {value, from}"})
    computed_facts = fields.Dict(metadata={"description": "The computed facts the policy rules saw"})
    keep_or_swap = fields.Dict(
        allow_none=True,
        metadata={"description": "Keeping against swapping, by year, and what number would have changed it"},
    )
    fired = fields.List(fields.String(), metadata={"description": "Ids of the rules that fired"})
    notes = fields.List(fields.String(), metadata={"description": "How the decision was made"})
    decided_at = fields.String(metadata={"description": "RFC 3339"})
    engine = fields.String()
    currency = fields.String()
    rulebook = fields.String(metadata={"description": "sha256:…"})


class ProblemOut(Schema):
    """RFC 9457 problem details."""

    type = fields.String()
    title = fields.String()
    status = fields.Integer()
    detail = fields.String()
    errors = fields.List(fields.Dict(), metadata={"description": "{detail, pointer}"})


LINES = {
    "description": "{kind: trip | distance | labor | second_technician | part | freight | tax, amount, "
    "hours, technicians, number, quantity, serials, component, note}; without an amount, as agreed",
    "example": [{"kind": "trip"}, {"kind": "labor", "hours": 1.5}, {"kind": "part", "number": "FAN-220"}],
}


class EstimateIn(Schema):
    """What is asked for; the core reads it line by line."""

    lines = fields.List(fields.Raw(), required=True, metadata=LINES)
    cause = fields.Raw(metadata={"description": "A cause's id; the likeliest, if left out"})
    after_hours = fields.Raw(metadata={"description": "true or false; as the ticket says, if left out"})
    note = text()


class ApprovalIn(Schema):
    estimate = fields.Raw(metadata={"description": "The revision that is answered; 0 before the first"})
    answer = fields.Raw(required=True, metadata={"description": "yes, no or yes_up_to"})
    amount = fields.Raw(metadata={"description": "For yes_up_to, such as 600.00 USD"})
    authority = fields.Raw(required=True, metadata={"description": "Whose approval it is"})
    why = fields.Raw(required=True)
    expires_at = fields.Raw(metadata={"description": "RFC 3339 with offset"})


class CloseIn(Schema):
    cause = fields.Raw(required=True, metadata={"description": "A cause's id, or no_fault_found"})
    cured_by = fields.Raw(required=True, metadata={"description": "repair, nothing, or a check's id"})
    lines = fields.List(fields.Raw(), metadata=LINES)
    after_hours = fields.Raw(metadata={"description": "true or false; as the ticket says, if left out"})
    hours = fields.Raw(metadata={"description": "Hours on site; those of the labor line, if left out"})
    photos = fields.List(fields.Raw(), metadata={"description": "References to photos"})
    authorization = fields.Raw(metadata={"description": "The number the costs were approved under"})
    at = fields.Raw(metadata={"description": "RFC 3339 with offset; now, if left out"})
    note = text()


class ReopenIn(Schema):
    why = text(required=True)


class TicketsQuery(Schema):
    cursor = text(200)
    limit = fields.Integer(load_default=50, validate=validate.Range(1, 200))
    state = fields.String(validate=validate.OneOf(["open", "closed"]))
    outcome = fields.String(validate=validate.OneOf(["fix_in_store", "dispatch", "approve", "hold", "swap"]))
    machine = text(64)
    site = text(64)


class LimitsQuery(Schema):
    contractor = text(64)
    at = text(64, metadata={"description": "RFC 3339 with offset or a date; now, if left out"})
    component = text(64, metadata={"description": "The kind of job: limits may differ by component"})
    after_hours = fields.Boolean(metadata={"description": "As the time says, if left out"})
    ticket = text(64, metadata={"description": "What this ticket has cost already counts"})


class TicketRowOut(Schema):
    ticket = fields.String()
    version = fields.Integer()
    state = fields.String(metadata={"description": "open or closed"})
    opened_at = fields.String(metadata={"description": "RFC 3339"})
    changed_at = fields.String(metadata={"description": "RFC 3339"})
    opened_by = fields.String()
    machine = fields.String(allow_none=True)
    site = fields.String(allow_none=True)
    contractor = fields.String(allow_none=True)
    outcome = fields.String(allow_none=True)
    symptoms = fields.List(fields.String())


class TicketOut(TicketRowOut):
    report = fields.Dict()
    decision = fields.Raw(metadata={"description": "As POST /v1/triage answers"})
    closed = fields.Dict(allow_none=True)
    repair = fields.Dict(metadata={"description": "The estimate, its answer, and the authorization"})


class EstimateOut(TicketOut):
    answer = fields.String(validate=validate.OneOf(["approve", "hold", "swap"]))
    reasons = fields.List(fields.String())
    ask = fields.Dict(allow_none=True, metadata={"description": "For hold: who may approve, how to reach"})
    estimate = fields.Dict(metadata={"description": "Every line: amount, agreed, paid_by; what is outside"})
    authorization = fields.Dict(allow_none=True, metadata={"description": "Number, amount, expiry"})


class ClaimsQuery(Schema):
    since = text(10, metadata={"description": "First day of closing, 2026-01-31 (UTC)"})
    until = text(10, metadata={"description": "Last day of closing (UTC)"})


class SpendQuery(ClaimsQuery):
    by = fields.String(load_default="contractor", validate=validate.OneOf(["contractor", "machine", "cause"]))


class ClaimsOut(Schema):
    items = fields.List(fields.Dict(), metadata={"description": "A line each that warranty pays"})


class SpendOut(Schema):
    by = fields.String()
    items = fields.List(fields.Dict())


class TicketPageOut(Schema):
    items = fields.List(fields.Nested(TicketRowOut))
    next = fields.String(allow_none=True, metadata={"description": "The cursor of the next page"})


class EventOut(Schema):
    seq = fields.Integer()
    kind = fields.String()
    at = fields.String()
    who = fields.String()
    rulebook = fields.String()
    payload = fields.Dict()


class EventsOut(Schema):
    items = fields.List(fields.Nested(EventOut))


class MachineOut(Schema):
    serial = fields.String()
    model = fields.String()
    asset_tag = fields.String()
    shipped_on = fields.String()
    commissioned_on = fields.String(allow_none=True)
    contractor = fields.String(allow_none=True)
    price = fields.String(allow_none=True)
    site = fields.Dict(allow_none=True)
    facts = fields.Dict()
    care = fields.List(fields.Dict())
    repairs = fields.List(fields.Dict())
    care_due = fields.Dict(
        metadata={"description": "filter and full_clean: when due, days overdue, how kept in 90 days"}
    )
    findings = fields.List(
        fields.Dict(),
        metadata={
            "description": "The last commissioning's checklist: {id, title, result, found, wanted, why}"
        },
    )
    tickets = fields.List(fields.Nested(TicketRowOut))


class LimitsOut(Schema):
    machine = fields.String()
    contractor = fields.String(allow_none=True)
    at = fields.String()
    warranty = fields.List(fields.Dict(), metadata={"description": "A line a component"})
    limit = fields.Dict(metadata={"description": "Amounts are texts in `currency`"})
    swap = fields.Dict(metadata={"description": "Spent in 12 months from which a swap may come"})
