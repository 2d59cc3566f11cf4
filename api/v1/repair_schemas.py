"""What goes over the wire of repairs and money; shapes only, as in `schemas`."""

from __future__ import annotations

from marshmallow import Schema, fields, validate

from api.v1.schemas import TicketOut, text

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
    work_from = fields.Raw(metadata={"description": "RFC 3339: when the work begins, instead of after_hours"})
    note = text()


class ApprovalIn(Schema):
    estimate = fields.Raw(metadata={"description": "The revision that is answered; 0 before the first"})
    answer = fields.Raw(required=True, metadata={"description": "yes, no or yes_up_to"})
    amount = fields.Raw(metadata={"description": "For yes_up_to, such as 600.00 USD"})
    authority = fields.Raw(metadata={"description": "Whose approval it is; its own token says so"})
    person = fields.Raw(metadata={"description": "Who spoke as the authority; its own token says so"})
    why = fields.Raw(required=True)
    expires_at = fields.Raw(metadata={"description": "RFC 3339 with offset"})


class AskIn(Schema):
    person = text(
        64, metadata={"description": "One of those who may answer; all with an address, if left out"}
    )


class AskedOut(Schema):
    asked = fields.List(fields.Dict(), metadata={"description": "{person, authority, until} of each"})


class CloseIn(Schema):
    cause = fields.Raw(required=True, metadata={"description": "A cause's id, or no_fault_found"})
    cured_by = fields.Raw(required=True, metadata={"description": "repair, nothing, or a check's id"})
    lines = fields.List(fields.Raw(), metadata=LINES)
    after_hours = fields.Raw(metadata={"description": "true or false; as the ticket says, if left out"})
    work_from = fields.Raw(metadata={"description": "RFC 3339: when the work begins, instead of after_hours"})
    hours = fields.Raw(metadata={"description": "Hours on site; those of the labor line, if left out"})
    photos = fields.List(fields.Raw(), metadata={"description": "References to photos"})
    authorization = fields.Raw(metadata={"description": "The number the costs were approved under"})
    made_safe = fields.Raw(metadata={"description": "Cautions whose danger is gone; true for all"})
    at = fields.Raw(metadata={"description": "RFC 3339 with offset; now, if left out"})
    note = text()


class ReopenIn(Schema):
    why = text(required=True)


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
