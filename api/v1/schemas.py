"""What goes over the wire: marshmallow schemas, which also make the OpenAPI document.

Shapes only. Whether a symptom, fact or serial exists, and whether an answer fits its fact, is the core's word
(`triage.report_input`), so that every door gives the same errors.
"""

from typing import Any

from marshmallow import Schema, fields, validate

from api.http.typed import AsIs, schema_of
from api.v1.shapes.decision import DANGERS, DangerOut, LimitNowOut
from api.v1.shapes.decision import DecisionOut as DecisionOut
from triage.records.authorization import Repair
from triage.records.danger import LIFTINGS
from triage.records.payloads import Closed

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


def core(kind: str | list[str], description: str = "", **more: Any) -> fields.Raw:
    """A value of a JSON type that the core reads, so that every door gives the same errors."""
    deserialized = {name: more.pop(name) for name in ("required", "allow_none") if name in more}
    said = {"description": description} if description else {}
    return fields.Raw(**deserialized, metadata={"type": kind, **said, **more})


def moment(description: str) -> fields.Raw:
    return core("string", f"RFC 3339 with offset; {description}", format="date-time")


SCALAR = ["string", "number", "boolean", "null"]
UNKNOWN = {"description": "Facts that nobody can tell; they are not asked for again", "example": []}


class ReportIn(Schema):
    machine = text(64, allow_none=True, load_default=None, metadata={"description": "Serial, if known"})
    symptoms = fields.List(text(64), required=True, metadata={"example": ["not_freezing"]})
    reported_at = moment("now, if left out")
    answers = fields.Dict(
        keys=fields.String(),
        values=core(SCALAR, allow_none=True),
        metadata={"description": "Facts by id", "example": {"filter_days": 40}},
    )
    checks = fields.List(
        fields.Dict(keys=fields.String(), values=core(["string", "array"])),
        metadata={"description": "Checks already done: {check, result, together}"},
    )
    note = text()
    not_known = fields.List(text(64), data_key="unknown", attribute="unknown", metadata=UNKNOWN)
    follows = text(64, metadata={"description": "The closed ticket whose trouble is back"})
    language = text(2, metadata={"description": "What the clerk is spoken to in, such as es"})
    caller = text(80, metadata={"description": "Who called"})
    phone = text(40, metadata={"description": "The number to call back on"})
    site = text(64, metadata={"description": "The store, where the machine is not known"})
    serial_said = text(80, metadata={"description": "The machine's number as read out, if in no record"})


class DetailsIn(Schema):
    caller = text(80, metadata={"description": "Who called"})
    phone = text(40, metadata={"description": "The number to call back on"})
    note = text(metadata={"description": "A note; heard for dangers"})
    machine = text(80, metadata={"description": "Serial, for a ticket without a machine"})


class TriageIn(ReportIn):
    machine_record = fields.Dict(
        metadata={"description": "A machine's record, for a machine that is not in the program"}
    )


class AnswersIn(Schema):
    answers = fields.Dict(
        keys=fields.String(),
        values=core(SCALAR, allow_none=True),
        load_default=dict,
        metadata={"example": {"filter_days": 40}},
    )
    not_known = fields.List(
        text(64), data_key="unknown", attribute="unknown", load_default=list, metadata=UNKNOWN
    )


class ClearIn(Schema):
    why = text(1000, required=True, metadata={"description": "A sentence: why the danger is gone"})
    how = fields.String(
        validate=validate.OneOf(LIFTINGS),
        metadata={"description": "What is said: an agent says misread, others safe, if left out"},
    )
    quotes = fields.List(
        text(8000),
        load_default=list,
        metadata={"description": "With misread: the lines of the danger's quote that were; all, if left out"},
    )


class CheckIn(Schema):
    check = text(64, required=True, metadata={"example": "rinse-filter"})
    result = fields.String(required=True, validate=validate.OneOf(["cured", "not_cured", "could_not_do"]))
    together = fields.List(
        text(64),
        load_default=list,
        metadata={"description": "Checks done with it before the same wait; the result is that of all"},
    )


class CareIn(Schema):
    kind = fields.String(
        required=True, validate=validate.OneOf(["filter_cleaned", "fully_cleaned", "commissioned"])
    )
    at = moment("now, if left out")
    details = fields.Dict(metadata={"description": "For `commissioned`: the installer's checklist"})


class ProblemOut(Schema):
    """RFC 9457 problem details."""

    type = fields.String(metadata={"description": "Leads to what it means", "example": "/problems/422"})
    title = fields.String(metadata={"example": "The input cannot be used"})
    status = fields.Integer(metadata={"example": 422})
    detail = fields.String()
    errors = fields.List(
        fields.Dict(keys=fields.String(), values=fields.String()),
        metadata={"description": "Each {detail, pointer}; the pointer says where, as /key or query:name"},
    )


class TicketsQuery(Schema):
    cursor = text(200)
    limit = fields.Integer(load_default=50, validate=validate.Range(1, 200))
    state = fields.String(validate=validate.OneOf(["open", "closed"]))
    outcome = fields.String(validate=validate.OneOf(["fix_in_store", "dispatch", "approve", "hold", "swap"]))
    machine = text(64)
    site = text(64)
    contractor = text(64)
    priority = fields.Integer(validate=validate.Range(1, 9))
    due_before = text(64, metadata={"description": "RFC 3339 with offset"})
    changed_since = text(64, metadata={"description": "RFC 3339 with offset; that moment included"})
    danger = fields.Boolean(metadata={"description": "Whether a danger stands open on it or its machine"})


class LimitsQuery(Schema):
    contractor = text(64)
    at = text(64, metadata={"description": "RFC 3339 with offset or a date; now, if left out"})
    component = text(64, metadata={"description": "The kind of job: limits may differ by component"})
    after_hours = fields.Boolean(
        metadata={"description": "As the time says, if left out; of a ticket, as someone is to come"}
    )
    ticket = text(64, metadata={"description": "The limit of this ticket, as it is now"})


class TicketRowOut(Schema):
    ticket = fields.String()
    version = fields.Integer()
    state = fields.String(metadata={"description": "open or closed"})
    opened_at = fields.String(metadata={"description": "RFC 3339"})
    changed_at = fields.String(metadata={"description": "RFC 3339"})
    opened_by = fields.String()
    follows = fields.String(allow_none=True, metadata={"description": "The closed ticket it goes on from"})
    machine = fields.String(allow_none=True)
    site = fields.String(allow_none=True)
    contractor = fields.String(allow_none=True)
    outcome = fields.String(allow_none=True)
    symptoms = fields.List(fields.String())
    priority = fields.Integer(allow_none=True)
    skill = fields.String(allow_none=True)
    dangers = fields.List(
        fields.String(),
        metadata={"description": "Cautions whose dangers stand open; in whole for one ticket"},
    )


class TicketOut(TicketRowOut):
    dangers = fields.List(AsIs(DangerOut), metadata=DANGERS)
    report = fields.Dict(metadata={"description": "As POST /v1/reports takes it, with what was told since"})
    decision = AsIs(DecisionOut, allow_none=True, metadata={"description": "As POST /v1/triage answers"})
    closed = AsIs(schema_of(Closed), allow_none=True, metadata={"description": "The close-out"})
    repair = AsIs(
        schema_of(Repair), metadata={"description": "The estimate, its answer, and the authorization"}
    )


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
    dangers = fields.List(AsIs(DangerOut), metadata=DANGERS)
    tickets = fields.List(fields.Nested(TicketRowOut))


class LimitsOut(Schema):
    machine = fields.String()
    contractor = fields.String(allow_none=True)
    at = fields.String()
    warranty = fields.List(fields.Dict(), metadata={"description": "A line a component"})
    limit = AsIs(LimitNowOut, metadata={"description": "Amounts are texts in `currency`"})
    dangers = fields.List(AsIs(DangerOut), metadata=DANGERS)
    swap = fields.Dict(metadata={"description": "Spent in 12 months from which a swap may come"})
