"""hypothesis strategies for conditions over ten facts of every type, and for facts that hit their bounds."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal

from hypothesis import strategies as st

from triage.logic.conditions import (
    AllOf,
    AnyOf,
    Anything,
    Compare,
    Condition,
    FactTest,
    FactValue,
    Interval,
    Known,
    NoneOf,
    Not,
    OneOf,
    Scalar,
    UnaryTest,
    Unknown,
)

NUMBERS = [Decimal(text) for text in ("-1", "0", "0.1", "0.10", "2", "2.5", "3", "1e-20", "1E+9", "15")]
DATES = [date(2026, 2, 28), date(2026, 3, 1), date(2024, 2, 29), date(1999, 12, 31)]
TIMES = [time(0), time(5, 59), time(6), time(23, 59, 59)]
MOMENTS = [
    datetime(2026, 1, 1, 12, tzinfo=UTC),
    datetime(2026, 1, 1, 7, tzinfo=timezone(timedelta(hours=-5))),  # the same moment as the one before
    datetime(2026, 1, 1, 12, 0, 1, tzinfo=UTC),
]
TEXTS = ["", "a", "A", "ab", 'quote " and \\', "é", "1", "true"]
FLAGS = [True, False]
SYMPTOMS = ["leaking", "not_freezing", "too_hard", "poor_texture"]

ORDERED: dict[str, list[Scalar]] = {
    "age": [*NUMBERS],
    "fill": [*NUMBERS],
    "cleaned_on": [*DATES],
    "opens_at": [*TIMES],
    "seen_at": [*MOMENTS],
}
NAMED: dict[str, list[Scalar]] = {
    "seal": [*TEXTS],
    "circuit": ["shared", "own", "extension"],
    "noisy": [*FLAGS],
    "warm": [*FLAGS],
}
DERIVABLE: dict[str, list[Scalar]] = {"d1": [*FLAGS], "d2": ["low", "high"], "d3": [*NUMBERS], "d4": [*FLAGS]}
VALUES: dict[str, list[Scalar]] = ORDERED | NAMED | DERIVABLE
SYMPTOM = "symptom"


def unary_tests(values: list[Scalar], ordered: bool) -> st.SearchStrategy[UnaryTest]:
    """Tests as the notation allows them: single ones, disjunctions of these, and `not(...)` of these."""
    value = st.sampled_from(values)
    single: st.SearchStrategy[UnaryTest] = st.builds(Compare, st.just("="), value)
    if ordered:
        signs = st.sampled_from(["=", "<", "<=", ">", ">="])
        single = st.one_of(
            st.builds(Compare, signs, value),
            st.builds(Interval, value, value, st.booleans(), st.booleans()),
        )
    several = st.lists(single, min_size=1, max_size=3).map(tuple)
    return st.one_of(single, st.builds(OneOf, several), st.builds(Not, several), st.just(Anything()))


def _fact_test(fact: str) -> st.SearchStrategy[Condition]:
    ordered = fact in ORDERED or fact == "d3"
    values: list[Scalar] = [*SYMPTOMS] if fact == SYMPTOM else VALUES[fact]
    return st.builds(FactTest, st.just(fact), unary_tests(values, ordered))


def conditions(facts: list[str]) -> st.SearchStrategy[Condition]:
    """Condition trees of up to about eight leaves over these facts."""
    fact = st.sampled_from(facts)
    leaves = st.one_of(fact.flatmap(_fact_test), st.builds(Known, fact), st.builds(Unknown, fact))

    def branching(inner: st.SearchStrategy[Condition]) -> st.SearchStrategy[Condition]:
        parts = st.lists(inner, max_size=3).map(tuple)
        return st.one_of(st.builds(AllOf, parts), st.builds(AnyOf, parts), st.builds(NoneOf, parts))

    return st.recursive(leaves, branching, max_leaves=8)


def _value(fact: str) -> st.SearchStrategy[FactValue]:
    chosen = st.sampled_from(VALUES[fact])
    if fact in {"age", "fill", "d3"}:
        return st.one_of(chosen, st.decimals(-2, 20, places=2))
    if fact == "seal":
        return st.one_of(chosen, st.text(max_size=4))
    return chosen


def known_facts(derivable: bool = False) -> st.SearchStrategy[dict[str, FactValue]]:
    """Some facts known, some not; the symptom as a set of choices."""
    some = [fact for fact in VALUES if derivable or fact not in DERIVABLE]
    optional: dict[str, st.SearchStrategy[FactValue]] = {fact: _value(fact) for fact in some}
    optional[SYMPTOM] = st.frozensets(st.sampled_from([*SYMPTOMS, "noise"]), max_size=3)
    return st.fixed_dictionaries({}, optional=optional)
