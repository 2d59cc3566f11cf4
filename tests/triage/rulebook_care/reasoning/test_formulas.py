"""The search finds an example exactly where trying every value of every fact finds one."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import chain, combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.generated_conditions import SYMPTOM, SYMPTOMS, conditions
from triage.logic.conditions import (
    ALWAYS,
    AllOf,
    AnyOf,
    Compare,
    Condition,
    Facts,
    FactTest,
    FactValue,
    Known,
    NoneOf,
    Not,
    OneOf,
    Unknown,
    evaluate,
    walk,
)
from triage.logic.unary_tests import FactType
from triage.rulebook.model import Fact
from triage.rulebook_care.reasoning.formulas import (
    FAILS,
    HOLDS,
    YES,
    Effort,
    Formula,
    Space,
    TooHard,
    Wish,
    Within,
    copied,
    every,
    satisfy,
    some,
)
from triage.rulebook_care.reasoning.intervals import Pieces, pieces_of

WISHES: dict[Wish, set[bool | None]] = {
    "true": {True},
    "false": {False},
    "not true": {False, None},
    "not false": {True, None},
}
TYPES: dict[str, FactType] = {
    "age": "number", "cleaned_on": "date", "opens_at": "time", "seal": "text", "circuit": "choice",
    "noisy": "flag",
}  # fmt: skip
CIRCUITS = {"shared": "", "own": "", "extension": ""}


def pieces_for(*asked: Condition) -> dict[str, Pieces]:
    leaves = [leaf for condition in asked for leaf in walk(condition)]
    return {
        name: pieces_of(
            Fact(name, name, kind, "clerk", choices=CIRCUITS if kind == "choice" else {}),
            [leaf.test for leaf in leaves if isinstance(leaf, FactTest) and leaf.fact == name],
        )
        for name, kind in TYPES.items()
    }


def space_of(*asked: Condition) -> Space:
    return Space(pieces_for(*asked), {SYMPTOM: tuple(SYMPTOMS)})


def one_symptom() -> Formula:
    return some(Within((SYMPTOM, member), YES) for member in SYMPTOMS)


def every_situation(space: Space, facts: list[str]) -> Iterator[Facts]:
    """Every value of every piece, and not known; every set of symptoms but the empty one."""
    choices: list[list[FactValue | None]] = []
    for fact in facts:
        if fact == SYMPTOM:
            sizes = range(1, len(SYMPTOMS) + 1)
            choices.append([frozenset(s) for s in chain(*(combinations(SYMPTOMS, size) for size in sizes))])
        else:
            choices.append([*space.pieces[fact].values, None])
    for values in product(*choices):
        yield {fact: value for fact, value in zip(facts, values, strict=True) if value is not None}


GROUPS = st.sampled_from([["age", "circuit", SYMPTOM], ["cleaned_on", "opens_at", "noisy"], ["seal", "age"]])


@settings(deadline=None, max_examples=150)
@given(data=st.data(), facts=GROUPS, wish=st.sampled_from(sorted(WISHES)))
def test_an_example_is_found_exactly_where_there_is_one(data, facts, wish):
    asked = [data.draw(conditions(facts)), data.draw(conditions(facts))]
    space = space_of(*asked)
    situation = satisfy([*(space.formula(condition, wish) for condition in asked), one_symptom()])
    exists = any(
        all(evaluate(condition, known) in WISHES[wish] for condition in asked)
        for known in every_situation(space, facts)
    )
    assert (situation is not None) is exists


@settings(deadline=None, max_examples=150)
@given(condition=conditions(["age", "noisy", "circuit"]), wish=st.sampled_from(sorted(WISHES)))
def test_the_example_is_one(condition, wish):
    space = space_of(condition)
    situation = satisfy([space.formula(condition, wish)])
    if situation is None:
        return
    known = {
        fact: value
        for (fact, _), pieces in situation.items()
        if (value := space.pieces[fact].example(pieces)) is not None
    }
    left = [fact for fact in ("age", "noisy", "circuit") if (fact, "") not in situation]
    for rest in every_situation(space, left):
        assert evaluate(condition, {**known, **rest}) in WISHES[wish]


@settings(deadline=None)
@given(condition=conditions(["age"]), value=st.decimals(-3, 20, places=3))
def test_every_value_has_a_piece_in_which_the_tests_come_out_alike(condition, value):
    space = space_of(condition)
    tests = [leaf.test for leaf in walk(condition) if isinstance(leaf, FactTest)]
    answer = [evaluate(FactTest("age", test), {"age": value}) for test in tests]
    pieces = space.pieces["age"].values
    assert answer in [[evaluate(FactTest("age", test), {"age": each}) for test in tests] for each in pieces]


def test_two_questions_together_need_not_have_the_answer_each_has_alone():
    low, high = FactTest("age", Compare("<", Decimal(3))), FactTest("age", Compare(">=", Decimal(3)))
    space = space_of(low, high)
    assert satisfy([space.formula(low, "true")]) is not None
    assert satisfy([space.formula(high, "true")]) is not None
    assert satisfy([space.formula(low, "true"), space.formula(high, "true")]) is None
    assert satisfy([space.formula(low, "not true"), space.formula(high, "not true")]) is not None  # not known


def test_a_copy_of_a_fact_may_have_another_value():
    low, high = FactTest("age", Compare("<", Decimal(3))), FactTest("age", Compare(">=", Decimal(3)))
    space = space_of(low, high)
    other = copied(space.formula(high, "true"), "age", "other")
    assert satisfy([space.formula(low, "true"), other]) is not None


def test_several_symptoms_at_once_may_pass_two_tests_that_exclude_each_other_for_one():
    leaking = FactTest(SYMPTOM, Compare("=", "leaking"))
    hard = FactTest(SYMPTOM, OneOf((Compare("=", "too_hard"),)))
    neither = FactTest(SYMPTOM, Not((Compare("=", "leaking"), Compare("=", "too_hard"))))
    space = space_of(leaking)
    assert satisfy([space.formula(leaking, "true"), space.formula(hard, "true")]) is not None
    assert satisfy([space.formula(leaking, "true"), space.formula(neither, "true")]) is None
    assert satisfy([space.formula(Unknown(SYMPTOM), "true")]) is None
    assert satisfy([space.formula(Known(SYMPTOM), "true")]) is not None


def test_the_search_gives_up_rather_than_search_for_ever():
    def parity(number: int) -> Formula:
        return every(
            some((Within((f"f{number}", ""), 1 + one), Within((f"f{number + 1}", ""), 2 - one)))
            for one in (0, 1)
        )

    chain_of = [parity(number) for number in range(30)]
    assert satisfy(chain_of) is not None
    with pytest.raises(TooHard):
        satisfy(chain_of, Effort(20))


def test_nothing_to_satisfy_is_satisfied_and_the_impossible_is_not():
    assert satisfy([HOLDS]) == {}
    assert satisfy([FAILS]) is None
    space = space_of(ALWAYS)
    assert space.formula(ALWAYS, "true") == HOLDS
    assert space.formula(AnyOf(()), "true") == FAILS
    assert space.formula(NoneOf(()), "true") == HOLDS
    assert space.formula(AllOf(()), "not true") == FAILS


def test_an_example_reads_as_a_sentence():
    condition = AllOf(
        (
            FactTest("age", Compare(">", Decimal(3))),
            FactTest("noisy", Compare("=", True)),
            Unknown("circuit"),
            FactTest("seal", Compare("=", "")),
            FactTest(SYMPTOM, Compare("=", "leaking")),
        )
    )
    space = space_of(condition)
    situation = satisfy([space.formula(condition, "true")])
    assert situation is not None
    expected = "age = 4, circuit not known, noisy = true, seal empty, symptom = leaking"
    assert space.example(situation) == expected
    assert space.example(situation, ["age"]) == "age = 4"
    assert space.example({}) == "any report"
