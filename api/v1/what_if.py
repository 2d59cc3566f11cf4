"""`POST /v1/tickets/{id}/what-if`: the decision before and after a change, nothing stored."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from flask.views import MethodView
from marshmallow import Schema, fields, validate
from werkzeug.exceptions import Forbidden

from api.http.auth import caller, roles, service
from api.http.json_bodies import Blueprint
from api.v1.schemas import SCALAR, DecisionOut, core, text
from triage.inputs.report import RESULTS
from triage.service.what_if import Rules, what_if
from triage.values.errors import InputError, Problem, escaped
from triage.what_if.changes import NOT_DONE, changes_from_data

MOST_FILES = 50

blueprint = Blueprint("what_if", __name__, url_prefix="/v1", description="A ticket redecided with changes")


class WhatIfIn(Schema):
    """Everything may be left out; with nothing in it both decisions are the same."""

    set = fields.Dict(
        keys=text(64),
        values=core(SCALAR),
        metadata={"description": "Facts by id, whoever said otherwise", "example": {"filter_days": 10}},
    )
    forget = fields.List(text(64), metadata={"description": "Facts as if not known"})
    checks = fields.Dict(
        keys=text(64),
        values=fields.String(validate=validate.OneOf([*RESULTS, NOT_DONE])),
        metadata={"description": f"Check -> result; `{NOT_DONE}` takes it back"},
    )
    at = fields.String(metadata={"description": "As if the call had come then: RFC 3339 with offset"})
    spent = text(40, metadata={"description": "What the ticket has cost so far, such as 120.00 USD"})
    base = fields.String(
        load_default="own",
        validate=validate.OneOf(["own", "live"]),
        metadata={"description": "Compare with the ticket's own rulebook, or the live one"},
    )
    version = text(80, metadata={"description": "A kept rulebook on the other side; ops only"})
    files = fields.Dict(
        keys=text(200),
        values=fields.String(allow_none=True),
        validate=validate.Length(max=MOST_FILES),
        metadata={
            "description": "Edited files of the rulebook as YAML text, null for taken out; ops only",
            "example": {"policy/fix-first.yml": None},
        },
    )
    turning_points = fields.Boolean(
        load_default=False, metadata={"description": "Say also what would change the decision after"}
    )


class ChangeOut(Schema):
    part = fields.String(metadata={"description": "outcome, reasons, facts, rules, causes, plan, cost, …"})
    id = fields.String()
    title = fields.String()
    before = core([*SCALAR, "array", "object"], allow_none=True)
    after = core([*SCALAR, "array", "object"], allow_none=True)
    words = fields.String()
    factors = fields.List(fields.Dict(), metadata={"description": "Of a cause: the factors that changed"})


class WhatIfOut(Schema):
    ticket = fields.String()
    as_recorded = fields.Boolean(metadata={"description": "`before` is what the ticket's log says"})
    before = fields.Nested(DecisionOut)
    after = fields.Nested(DecisionOut)
    changed = fields.Boolean()
    words = fields.List(fields.String(), metadata={"description": "The change in words, the outcome first"})
    changes = fields.List(fields.Nested(ChangeOut))
    turning_points = fields.Dict(
        allow_none=True,
        metadata={"description": "facts and numbers that would change the outcome; left_out when cut short"},
    )


@blueprint.route("/tickets/<ticket_id>/what-if")
class WhatIf(MethodView):
    @roles("agent", "technician", "ops")
    @blueprint.arguments(WhatIfIn)
    @blueprint.response(200, WhatIfOut)
    def post(self, body: dict[str, Any], ticket_id: str) -> Any:
        """Decide the ticket again with facts or (ops only) rules changed. Nothing is stored."""
        changed_rules = [key for key in ("version", "files") if body.get(key) is not None]
        if changed_rules and caller().role != "ops":
            raise Forbidden(
                f"A token with the role {caller().role} may change facts only, not {changed_rules[0]}."
            )
        texts = body.get("files") or {}
        with placed(texts):
            found = what_if(
                service(),
                ticket_id,
                changes_from_data(body),
                caller(),
                body["base"],
                Rules(body.get("version"), texts),
                body["turning_points"],
            )
        return found.as_data()


@contextmanager
def placed(texts: Mapping[str, str | None]) -> Iterator[None]:
    """Gives problems of edited files a pointer into the body; line and column go before the message."""
    try:
        yield
    except InputError as error:
        raise type(error)(_placed(problem, texts) for problem in error.problems) from None


def _placed(problem: Problem, texts: Mapping[str, str | None]) -> Problem:
    if problem.file is None:
        return problem
    if problem.file not in texts:
        return Problem(f"{problem.file}: {problem.message}", "/files")
    at = "" if problem.line is None else f"line {problem.line}, column {problem.column}: "
    return replace(
        problem, message=at + problem.message, pointer=f"/files/{escaped(problem.file)}", file=None
    )
