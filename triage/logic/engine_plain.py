"""The plain engine: each condition becomes nested Python closures, obviously right and quick.

It answers exactly as `conditions.evaluate` does and serves alone where the durable engine cannot be imported.
"""

import operator
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias, TypeVar

from triage.logic.conditions import (
    AllOf,
    AnyOf,
    Anything,
    Compare,
    Condition,
    Facts,
    FactTest,
    FactValue,
    Interval,
    Known,
    NoneOf,
    Not,
    OneOf,
    Scalar,
    Truth,
    UnaryTest,
    Unknown,
    facts_in,
)

TruthOf: TypeAlias = Callable[[Facts], Truth]
T = TypeVar("T")
Passes: TypeAlias = Callable[[Any], bool]

_OPERATORS: Mapping[str, Callable[[Any, Any], bool]] = {
    "=": operator.eq,
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}


@dataclass(frozen=True, slots=True)
class _Stage:
    """A stage's rules. One whose facts are all unknown answers as where nothing is known."""

    unknown: Mapping[str, Truth]  # every rule's answer where nothing is known, in order
    by_fact: Mapping[str, tuple[tuple[str, Passes], ...]]  # the rules that are nothing but a test of the fact
    others: Mapping[str, tuple[tuple[str, TruthOf], ...]]  # the other rules that look at the fact

    def truths(self, facts: Facts) -> dict[str, Truth]:
        truths = dict(self.unknown)
        asked: dict[str, TruthOf] = {}
        for fact, value in facts.items():
            if value is not None:
                for rule, passes in self.by_fact.get(fact, ()):
                    truths[rule] = passes(value)
                asked.update(self.others.get(fact, ()))
        for rule, truth_of in asked.items():
            truths[rule] = truth_of(facts)
        return truths


@dataclass(frozen=True, slots=True)
class PlainEngine:
    """An `Engine` of closures. It holds no state between calls, so threads may share it."""

    stages: Mapping[str, _Stage]
    name: str = "plain"

    def truths(self, stage: str, facts: Facts) -> Mapping[str, Truth]:
        return self.stages[stage].truths(facts)


def compile_plain(
    stages: Mapping[str, Mapping[str, Condition]], only_fires: Collection[str] = ()
) -> PlainEngine:
    """Compiles stage -> rule id -> condition; it tells False from None in the stages of `only_fires` too."""
    return PlainEngine({stage: _compile_stage(conditions) for stage, conditions in stages.items()})


def _compile_stage(conditions: Mapping[str, Condition]) -> _Stage:
    unknown: dict[str, Truth] = {}
    by_fact: dict[str, list[tuple[str, Passes]]] = {}
    others: dict[str, list[tuple[str, TruthOf]]] = {}
    for rule, condition in conditions.items():
        only = _alone(condition)
        if isinstance(only, FactTest) and not isinstance(only.test, Anything):
            unknown[rule] = None
            by_fact.setdefault(only.fact, []).append((rule, _for_any_value(only.test)))
            continue
        truth_of = compile_condition(only)
        unknown[rule] = truth_of({})
        for fact in facts_in(only):
            others.setdefault(fact, []).append((rule, truth_of))
    return _Stage(unknown, _fixed(by_fact), _fixed(others))


def _fixed(rules: Mapping[str, list[T]]) -> Mapping[str, tuple[T, ...]]:
    return {fact: tuple(each) for fact, each in rules.items()}


def _alone(condition: Condition) -> Condition:
    """A condition out of the brackets that hold nothing else."""
    while isinstance(condition, AllOf | AnyOf) and len(condition.parts) == 1:
        (condition,) = condition.parts
    return condition


def compile_condition(condition: Condition) -> TruthOf:
    """A function from known facts to the condition's value in Kleene's strong logic."""
    match condition:
        case FactTest(_, Anything()):
            return _always
        case FactTest(fact, test):
            named = _named(test)
            return _fact_test(fact, _for_any_value(test)) if named is None else _is_one_of(fact, named)
        case Known(fact):
            return lambda facts: facts.get(fact) is not None
        case Unknown(fact):
            return lambda facts: facts.get(fact) is None
        case AllOf((only,)) | AnyOf((only,)):
            return compile_condition(only)
        case AllOf(parts):
            return _decided_by(False, tuple(compile_condition(part) for part in parts))
        case AnyOf(parts):
            return _decided_by(True, tuple(compile_condition(part) for part in parts))
        case NoneOf(parts):
            return _negated(compile_condition(AnyOf(parts)))


def _always(facts: Facts) -> Truth:
    return True


def _fact_test(fact: str, passes: Passes) -> TruthOf:
    def truth(facts: Facts) -> Truth:
        value = facts.get(fact)
        return None if value is None else passes(value)

    return truth


def _is_one_of(fact: str, named: frozenset[Scalar]) -> TruthOf:
    """By far the commonest test, in one step instead of three."""

    def truth(facts: Facts) -> Truth:
        value = facts.get(fact)
        if value is None:
            return None
        return not named.isdisjoint(value) if isinstance(value, frozenset) else value in named

    return truth


def _decided_by(decisive: bool, parts: tuple[TruthOf, ...]) -> TruthOf:
    """One part with the decisive value settles it; else it is unknown if any part is."""

    def truth(facts: Facts) -> Truth:
        unknown = False
        for part in parts:
            found = part(facts)
            if found is decisive:
                return decisive
            if found is None:
                unknown = True
        return None if unknown else not decisive

    return truth


def _negated(inner: TruthOf) -> TruthOf:
    def truth(facts: Facts) -> Truth:
        found = inner(facts)
        return None if found is None else not found

    return truth


def _for_any_value(test: UnaryTest) -> Passes:
    """The test for a value of a single-valued or a many-valued fact, as `conditions.holds_for`."""
    named = _named(test)
    if named is not None:
        return lambda value: not named.isdisjoint(value) if isinstance(value, frozenset) else value in named
    one, many = _for_one(test), _for_many(test)

    def passes(value: FactValue) -> bool:
        return many(value) if isinstance(value, frozenset) else one(value)

    return passes


def _named(test: UnaryTest) -> frozenset[Scalar] | None:
    """The values that pass, where the test is for nothing but being equal to one of them."""
    match test:
        case Compare("=", value):
            return frozenset({value})
        case OneOf(tests):
            parts = [_named(part) for part in tests]
            known = [part for part in parts if part is not None]
            return frozenset().union(*known) if len(known) == len(parts) else None
        case _:
            return None


def _for_one(test: UnaryTest) -> Passes:
    match test:
        case Compare(sign, wanted):
            compare = _OPERATORS[sign]
            return lambda value: compare(value, wanted)
        case Interval(low, high, low_closed, high_closed):
            above = _OPERATORS[">=" if low_closed else ">"]
            below = _OPERATORS["<=" if high_closed else "<"]
            return lambda value: above(value, low) and below(value, high)
        case OneOf(tests):
            one_of = tuple(_for_one(part) for part in tests)
            return lambda value: any(passes(value) for passes in one_of)
        case Not(tests):
            return _none(tuple(_for_one(part) for part in tests))
        case Anything():
            return lambda value: True


def _for_many(test: UnaryTest) -> Passes:
    if isinstance(test, Not):
        return _none(tuple(_for_many(part) for part in test.tests))
    if isinstance(test, Anything):
        return lambda values: True
    one = _for_one(test)
    return lambda values: any(one(member) for member in values)


def _none(tests: tuple[Passes, ...]) -> Passes:
    if len(tests) == 1:
        (only,) = tests
        return lambda value: not only(value)
    return lambda value: not any(test(value) for test in tests)
