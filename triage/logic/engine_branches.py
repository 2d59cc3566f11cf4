"""Conditions as branches: when is it true, when is it false, as alternatives of plain conjunctions.

A condition is true exactly when its negation normal form is true with every test on an unknown fact failing,
and false exactly when the normal form of its negation is. Each alternative becomes one rule of the engine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from triage.logic.conditions import (
    AllOf,
    AnyOf,
    Anything,
    Compare,
    Condition,
    FactTest,
    Known,
    NoneOf,
    Not,
    OneOf,
    UnaryTest,
    Unknown,
)
from triage.logic.engine import RuleTooWide
from triage.logic.engine_fields import MANY_VALUED, Branch, Fields, Span

MAX_BRANCHES = 100
"""Of one condition; more is a table, not a rule."""


def branches_of(rule: str, condition: Condition, wanted: bool, fields: Fields) -> list[Branch]:
    """The alternatives under which the condition of `rule` has the wanted value; none: it never has.

    An empty branch holds always. Raises RuleTooWide beyond MAX_BRANCHES.
    """

    def branches(part: Condition, wanted: bool) -> list[Branch]:
        match part:
            case FactTest(_, Anything()):
                return [{}] if wanted else []
            case FactTest(fact, test):
                return _of_test(rule, fact, test, wanted, fields)
            case Known(fact):
                return [{_presence(fields, fact): _flag(wanted)}]
            case Unknown(fact):
                return [{_presence(fields, fact): _flag(not wanted)}]
            case AllOf(parts):
                return (_all if wanted else _any)(rule, (branches(inner, wanted) for inner in parts))
            case AnyOf(parts):
                return (_any if wanted else _all)(rule, (branches(inner, wanted) for inner in parts))
            case NoneOf(parts):
                return branches(AnyOf(parts), not wanted)

    return branches(condition, wanted)


def _of_test(rule: str, fact: str, test: UnaryTest, wanted: bool, fields: Fields) -> list[Branch]:
    of_fact = fields.facts[fact]
    if fact in MANY_VALUED:
        known: Branch = {_presence(fields, fact): _flag(True)}
        return _all(
            rule, iter(([known], _of_members(rule, test, wanted, lambda value: of_fact.members[value])))
        )
    assert of_fact.rank is not None
    number = of_fact.rank.number
    return _within_limit(rule, [{number: span} for span in of_fact.rank.spans(test, wanted)])


def _of_members(rule: str, test: UnaryTest, wanted: bool, field: Callable[[str], int]) -> list[Branch]:
    match test:
        case Compare(_, str(value)):
            return [{field(value): _flag(wanted)}]
        case Not(tests):
            return _of_members(rule, OneOf(tests), not wanted, field)
        case OneOf(tests) if all(isinstance(part, Compare | OneOf | Not) for part in tests):
            return (_any if wanted else _all)(
                rule, (_of_members(rule, part, wanted, field) for part in tests)
            )
        case _:
            raise RuleTooWide(rule, "tests a fact with many values for something else than its values")


def _any(rule: str, alternatives: Iterable[list[Branch]]) -> list[Branch]:
    return _within_limit(rule, [branch for branches in alternatives for branch in branches])


def _all(rule: str, parts: Iterable[list[Branch]]) -> list[Branch]:
    found: list[Branch] = [{}]
    for branches in parts:
        joined = (_join(left, right) for left in found for right in branches)
        found = _within_limit(rule, [branch for branch in joined if branch is not None])
    return found


def _join(left: Branch, right: Branch) -> Branch | None:
    """Both at once, or None where no value passes both."""
    joined = dict(left)
    for number, (low, high) in right.items():
        if number in joined:
            low, high = max(low, joined[number][0]), min(high, joined[number][1])
            if low > high:
                return None
        joined[number] = (low, high)
    return joined


def _within_limit(rule: str, branches: list[Branch]) -> list[Branch]:
    distinct = list({tuple(sorted(branch.items())): branch for branch in branches}.values())
    if len(distinct) > MAX_BRANCHES:
        raise RuleTooWide(
            rule, f"has more than {MAX_BRANCHES} alternatives; split it into rules that each say one thing"
        )
    return distinct


def _presence(fields: Fields, fact: str) -> int:
    number = fields.facts[fact].presence
    assert number is not None
    return number


def _flag(value: bool) -> Span:
    return (1, 1) if value else (0, 0)
