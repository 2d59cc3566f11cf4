"""The amount of repairs in 12 months above which a machine is exchanged, by the rules that look at it."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from triage.decide.computed_facts import value_now
from triage.logic.conditions import AllOf, Compare, Condition, FactTest, Interval, UnaryTest
from triage.records.report import Machine
from triage.rulebook.model import Rulebook
from triage.values.money import as_money

SHARE = "spent_share_of_value"


def swap_thresholds(rulebook: Rulebook, machine: Machine, spent: Decimal, on: date) -> dict[str, Any]:
    """JSON data: `value_now`, `spent_share`, `spent_above` (the lowest of the rules), and `rules`.

    A rule of `rules` asks for more besides; `spent_above` is the amount in 12 months from which it may speak.
    Without a price nothing is known, and all are null or empty.
    """
    if machine.price is None:
        return {"value_now": None, "spent_share": None, "spent_above": None, "rules": []}
    value = value_now(machine, on)
    found = []
    for rule in rulebook.policy.values():
        if rule.outcome == "swap" and rule.head.status == "live":
            found += [(share, rule.head.id, rule.head.title) for share in _shares(rule.head.when)]
    found.sort()

    def text(amount: Decimal) -> str:
        return f"{as_money(amount, rulebook.currency).amount:f}"

    return {
        "value_now": text(value),
        "spent_share": float(round(spent / value, 4)) if value else None,
        "spent_above": text(found[0][0] * value) if found else None,
        "rules": [
            {"rule": id_, "title": title, "share": float(share), "spent_above": text(share * value)}
            for share, id_, title in found
        ],
    }


def _shares(condition: Condition) -> Iterator[Decimal]:
    """The lower bounds of the share that must hold for the condition to hold."""
    if isinstance(condition, AllOf):
        for part in condition.parts:
            yield from _shares(part)
    elif isinstance(condition, FactTest) and condition.fact == SHARE:
        yield from _lower(condition.test)


def _lower(test: UnaryTest) -> Iterator[Decimal]:
    match test:
        case Compare(">" | ">=", Decimal() as bound) | Interval(Decimal() as bound):
            yield bound
        case _:
            return
