"""Conditions as branches: the alternatives under which one is true, or false, each a rule of the engine."""

from __future__ import annotations

from triage.logic.conditions import (
    MANY_VALUED,
    AnyOf,
    Compare,
    Condition,
    FactTest,
    Known,
    NoneOf,
    Not,
    OneOf,
    UnaryTest,
)
from triage.logic.engine import RuleTooWide
from triage.logic.engine_fields import Branch, Fields, Span
from triage.logic.normal_form import Leaf, alternatives

MAX_BRANCHES = 100
"""Of one condition; more is a table, not a rule."""


def branches_of(rule: str, condition: Condition, wanted: bool, fields: Fields) -> list[Branch]:
    """The alternatives under which the condition of `rule` has the wanted value; none: it never has.

    An empty branch holds always. Raises RuleTooWide beyond MAX_BRANCHES.
    """
    reason = f"has more than {MAX_BRANCHES} alternatives; split it into rules that each say one thing"
    too_many = RuleTooWide(rule, reason)

    def branches(condition: Condition, wanted: bool) -> list[Branch]:
        return alternatives(condition, wanted, of_leaf, _both, MAX_BRANCHES, too_many)

    def of_leaf(leaf: Leaf, wanted: bool) -> list[Branch]:
        match leaf:
            case Known(fact):
                return [{_presence(fields, fact): _flag(wanted)}]
            case FactTest(fact, test) if fact in MANY_VALUED:
                return of_members(fact, test, wanted)
            case FactTest(fact, test):
                rank = fields.facts[fact].rank
                assert rank is not None
                return [{rank.number: span} for span in rank.spans(test, wanted)]

    def of_members(fact: str, test: UnaryTest, wanted: bool) -> list[Branch]:
        match test:
            case Compare(_, str(value)):
                member = fields.facts[fact].members[value]
                return [{_presence(fields, fact): _flag(True), member: _flag(wanted)}]
            case OneOf(tests):
                return branches(AnyOf(tuple(FactTest(fact, part) for part in tests)), wanted)
            case Not(tests):
                return branches(NoneOf(tuple(FactTest(fact, part) for part in tests)), wanted)
            case _:
                raise RuleTooWide(rule, "tests a fact with many values for something else than its values")

    return branches(condition, wanted)


def _both(left: Branch, right: Branch) -> Branch | None:
    """Both at once, or None where no value passes both."""
    joined = dict(left)
    for number, (low, high) in right.items():
        if number in joined:
            low, high = max(low, joined[number][0]), min(high, joined[number][1])
            if low > high:
                return None
        joined[number] = (low, high)
    return joined


def _presence(fields: Fields, fact: str) -> int:
    number = fields.facts[fact].presence
    assert number is not None
    return number


def _flag(value: bool) -> Span:
    return (1, 1) if value else (0, 0)
