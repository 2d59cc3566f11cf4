"""The decision as the contract's JSON: money as text such as "350.00", chances as numbers, RFC 3339 times.

The currency of every amount stands once, at the top and beside the expected cost.
"""

from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Any

from moneyed import Money

from triage.records.danger import Danger
from triage.records.decision import Decision, Factor, KnownFact, LimitAnswer, PlanStep, Visit
from triage.rulebook.fact_values import write_value

JSONObject = dict[str, Any]

_NOT_TOLD = {Decision: {"after_hours_agreed"}, LimitAnswer: {"notes"}}
_UNLESS = {(Decision, "faults"): [], (PlanStep, "group"): 0, (Visit, "by"): "contractor"}
"""Class and field -> what it says where it is left out."""


def as_json(decision: Decision, ticket: str | None = None) -> JSONObject:
    """Plain data for `json.dumps`; `ticket` is the ticket's id, null where nothing was stored."""
    currency = decision.expected_cost.plan.currency.code
    shown = _plain(decision)
    shown["expected_cost"]["currency"] = currency
    shown["facts"] = {name: _fact(fact) for name, fact in sorted(decision.facts.items())}
    shown["computed_facts"] = {
        name: write_value(value) for name, value in sorted(decision.computed_facts.items())
    }
    if not decision.limit.promised.amount:
        del shown["limit"]["promised"]
    return {"ticket": ticket, **shown, "currency": currency}


def amount(value: Money) -> str:
    """An amount without its currency, such as "350.00"."""
    return f"{value.amount:f}"


def _plain(value: Any) -> Any:
    match value:
        case None | str() | bool() | int() | float():
            return value
        case Factor():
            return value._asdict()
        case tuple():
            return [_plain(each) for each in value]
        case Money():
            return amount(value)
        case Danger():
            return value.as_data()
        case date():
            return value.isoformat()
        case Decimal():
            return f"{value:f}"
        case _ if is_dataclass(value):
            kind: type = type(value)
            found = {name: _plain(getattr(value, name)) for name in _told(kind)}
            return {name: one for name, one in found.items() if _UNLESS.get((kind, name), _UNLESS) != one}
        case _:
            return value


@cache
def _told(kind: type) -> tuple[str, ...]:
    return tuple(each.name for each in fields(kind) if each.name not in _NOT_TOLD.get(kind, ()))


def _fact(fact: KnownFact) -> JSONObject:
    shown: JSONObject = {"value": write_value(fact.value), "from": fact.source}
    if fact.quote is not None:
        return {**shown, "quote": fact.quote}
    return shown if fact.rule is None else {**shown, "rule": fact.rule}
