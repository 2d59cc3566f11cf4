"""The normal form means what the condition means, whatever is made of its leaves."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import TypeAlias

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.generated_conditions import SYMPTOM, VALUES, conditions, known_facts
from triage.logic.conditions import (
    AllOf,
    AnyOf,
    Compare,
    Condition,
    Facts,
    FactTest,
    NoneOf,
    Truth,
    all_of,
    any_of,
    evaluate,
    negate,
)
from triage.logic.normal_form import Leaf, alternatives, normal_form

ANY_CONDITION = conditions([*VALUES, SYMPTOM])
PLENTY = 100_000
Chosen: TypeAlias = Mapping[Leaf, bool]


def truth_of(facts: Facts, leaf: Leaf, wanted: bool) -> Truth:
    truth = evaluate(leaf, facts)
    return truth if wanted else negate(truth)


def literals(condition: Condition, wanted: bool, most: int = PLENTY) -> list[list[tuple[Leaf, bool]]]:
    """The alternatives as leaves, each with the truth wanted of it."""
    found = alternatives(
        condition,
        wanted,
        lambda leaf, wanted: [{(leaf, wanted): None}],
        lambda left, right: {**left, **right},
        most,
        OverflowError("too many"),
    )
    return [list(one) for one in found]


@settings(deadline=None, derandomize=True, max_examples=300)
@given(ANY_CONDITION, known_facts(), st.booleans())
def test_it_has_the_truth_of_the_condition_or_of_its_negation(
    condition: Condition, facts: Facts, wanted: bool
) -> None:
    found = normal_form(condition, wanted, lambda leaf, wanted: truth_of(facts, leaf, wanted), all_of, any_of)
    truth = evaluate(condition, facts)
    assert found is (truth if wanted else negate(truth))


@settings(deadline=None, derandomize=True, max_examples=300)
@given(ANY_CONDITION, known_facts(), st.booleans())
def test_the_condition_comes_out_as_wanted_exactly_where_an_alternative_holds(
    condition: Condition, facts: Facts, wanted: bool
) -> None:
    holds = [
        all(truth_of(facts, leaf, truth) is True for leaf, truth in conjunction)
        for conjunction in literals(condition, wanted)
    ]
    assert any(holds) is (evaluate(condition, facts) is wanted)


def over(value: int) -> FactTest:
    return FactTest("age", Compare(">", Decimal(value)))


def test_alternatives_are_counted_once_each_and_at_every_depth() -> None:
    either = AnyOf((over(1), over(2)))
    assert literals(AnyOf((either, either)), True) == [[(over(1), True)], [(over(2), True)]]
    assert literals(NoneOf((either,)), False, most=2) == [[(over(1), True)], [(over(2), True)]]
    with pytest.raises(OverflowError, match="too many"):
        literals(either, True, most=1)
    with pytest.raises(OverflowError, match="too many"):
        literals(AllOf((AnyOf(()), either)), True, most=1)
    assert literals(AllOf((either, AnyOf(()))), True) == []


def test_what_excludes_each_other_is_no_alternative() -> None:
    both = AllOf((AnyOf((over(1), over(2))), over(3)))

    def one_at_most(left: Chosen, right: Chosen) -> Chosen | None:
        return None if over(1) in left else {**left, **right}

    found = alternatives(
        both, True, lambda leaf, wanted: [{leaf: wanted}], one_at_most, 2, OverflowError("too many")
    )
    assert found == [{over(2): True, over(3): True}]
