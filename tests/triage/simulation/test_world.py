"""The world holds the rulebook's numbers, and leaves them by no more than it is told to."""

from __future__ import annotations

import numpy as np
import pytest

from tests import RULES
from tests.triage.small_rulebooks import check_of, clerk_fact, evidence_rule, small_rulebook
from triage.logic.conditions import Compare, FactTest, OneOf, evaluate
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.simulation.world import Errors, Luck, World

EXACT = Errors(mishear=0, cannot_tell=0, dangers=0)


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(RULES)


def test_each_rule_on_one_fact_holds_as_often_as_it_says(rulebook: Rulebook) -> None:
    world = World(rulebook, 1, EXACT)
    seen = 0
    for fact in ("fan_air", "filter_days", "refill_temp", "ice_seen", "tap_state"):
        values = world._values(fact)
        for cause in ("dirty_filter", "fan_failed", "low_fill", "tap_ring_worn", "other"):
            table = world._table(fact, cause)
            assert table.sum() == pytest.approx(1)
            for id_ in world._rules(fact):
                rule = rulebook.evidence[id_]
                held = [evaluate(rule.head.when, {fact: value}) is True for value in values]
                assert table[held].sum() == pytest.approx(rule.chance_given(cause), abs=1e-6), (id_, cause)
                seen += 1
    assert seen >= 50


def test_overlapping_rules_keep_their_own_numbers() -> None:
    colors = clerk_fact("color", type="choice", choices={"red": "Red", "green": "Green", "blue": "Blue"})

    def among(*names: str) -> FactTest:
        return FactTest("color", OneOf(tuple(Compare("=", name) for name in names)))

    rules = (
        evidence_rule("warm", 0.5, when=among("red", "green"), broken=0.8),
        evidence_rule("cool", 0.5, when=among("green", "blue"), broken=0.6),
    )
    world = World(small_rulebook({"s": {"broken": 1, "other": 1}}, rules, facts=(colors,)), 1, EXACT)
    table = dict(zip(world._values("color"), world._table("color", "broken"), strict=True))
    assert table["red"] + table["green"] == pytest.approx(0.8)
    assert table["green"] + table["blue"] == pytest.approx(0.6)


def test_causes_come_as_often_as_their_mean_share() -> None:
    shares = {"a": {"one": 3, "two": 1}, "b": {"two": 1, "other": 1}}
    world = World(small_rulebook(shares), 7, EXACT)
    drawn = [world.fault(str(number)).causes[0] for number in range(6000)]
    often = {cause: drawn.count(cause) / len(drawn) for cause in ("one", "two", "other")}
    assert often == pytest.approx({"one": 0.375, "two": 0.375, "other": 0.25}, abs=0.02)


def test_the_same_name_gives_the_same_fault_and_another_seed_another(rulebook: Rulebook) -> None:
    first, again, other = World(rulebook, 1), World(rulebook, 1), World(rulebook, 2)
    names = [str(number) for number in range(50)]
    assert [first.fault(name) for name in names] == [again.fault(name) for name in reversed(names)][::-1]
    assert [first.fault(name).causes for name in names] != [other.fault(name).causes for name in names]


def test_wrong_numbers_stay_within_their_factor(rulebook: Rulebook) -> None:
    right, wrong = World(rulebook, 1, EXACT), World(rulebook, 1, Errors(off=2.0))
    ratios = wrong.often / right.often
    assert ratios.max() / ratios.min() <= 4
    assert ratios.std() > 0.1
    odds = [
        chance / (1 - chance)
        for chance in (world.cures("rinse-filter", "dirty_filter") for world in (right, wrong))
    ]
    assert 0.5 <= odds[1] / odds[0] <= 2
    assert odds[1] != pytest.approx(odds[0], rel=0.01)


def test_mishearing_gives_another_value_as_often_as_it_says() -> None:
    light = clerk_fact("light")
    book = small_rulebook(
        {"s": {"one": 1, "other": 1}}, (evidence_rule("light", 0.5, one=1.0),), facts=(light,)
    )
    world = World(book, 3, Errors(mishear=0.25, cannot_tell=0, dangers=0))
    faults = [fault for number in range(4000) if (fault := world.fault(str(number))).causes == ("one",)]
    wrong = sum(world.answer(fault, "light") is False for fault in faults) / len(faults)
    assert wrong == pytest.approx(0.25, abs=0.03)


def test_a_check_the_rulebook_has_not_cures_as_its_own_says() -> None:
    world = World(small_rulebook({"s": {"one": 1}}, checks=(check_of("known", 1, {"one": 0.5}),)), 1, EXACT)
    assert world.cures("known", "one", 0.9) == 0.5
    assert world.cures("new", "one", 0.9) == pytest.approx(0.9)


def test_luck_is_even() -> None:
    luck = Luck("even")
    counts, _ = np.histogram([luck.of(str(number)) for number in range(10_000)], bins=10, range=(0, 1))
    # Pearson's chi-square with 9 degrees of freedom: 27.9 is passed by chance once in a thousand.
    assert (((counts - 1000) ** 2) / 1000).sum() < 27.9
