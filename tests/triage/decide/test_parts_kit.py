"""The parts kit is the best there is, and the van can take it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.decide import parts_kit
from triage.decide.parts_kit import Load, Need, Van, best_kit, chance_of

LOADS = {
    "FAN": Load(Decimal("1.1"), Decimal("84.00")),
    "MOTOR": Load(Decimal("4.8"), Decimal("236.00")),
    "BOARD": Load(Decimal("0.6"), Decimal("264.00")),
    "SEAL": Load(Decimal("0.1"), Decimal("22.00")),
}


def whole(chance: float) -> int:
    return round(chance * 1_000_000)


def brute_force(needs: Sequence[Need], loads: Mapping[str, Load], van: Van) -> int:
    """The greatest chance, in millionths, over every kit of every quantity."""
    most = {number: 0 for need in needs for number in need.parts}
    for need in needs:
        for number, quantity in need.parts.items():
            most[number] = max(most[number], quantity)
    best = 0
    for counts in product(*(range(count + 1) for count in most.values())):
        kit = dict(zip(most, counts, strict=True))
        kg = sum((loads[number].kg * count for number, count in kit.items()), Decimal(0))
        value = sum((loads[number].value * count for number, count in kit.items()), Decimal(0))
        if (van.kg is None or kg <= van.kg) and (van.value is None or value <= van.value):
            fixed = [
                whole(need.chance)
                for need in needs
                if all(kit[number] >= quantity for number, quantity in need.parts.items())
            ]
            best = max(best, sum(fixed))
    return best


def within(kit: Mapping[str, int], loads: Mapping[str, Load], van: Van) -> bool:
    kg = sum((loads[number].kg * count for number, count in kit.items()), Decimal(0))
    value = sum((loads[number].value * count for number, count in kit.items()), Decimal(0))
    return (van.kg is None or kg <= van.kg) and (van.value is None or value <= van.value)


def test_all_that_could_help_is_carried_where_it_fits() -> None:
    needs = [Need(0.5, {"FAN": 1}), Need(0.3, {"MOTOR": 1, "SEAL": 2}), Need(0.1, {})]
    kit = best_kit(needs, LOADS, Van())
    assert kit.parts == {"FAN": 1, "MOTOR": 1, "SEAL": 2}
    assert kit.chance == pytest.approx(0.9)


def test_half_of_what_a_repair_takes_is_not_carried() -> None:
    needs = [Need(0.6, {"FAN": 1, "MOTOR": 1}), Need(0.2, {"FAN": 1})]
    kit = best_kit(needs, LOADS, Van(kg=Decimal("5.0")))
    assert kit.parts == {"FAN": 1}
    assert kit.chance == pytest.approx(0.2)


def test_a_kit_exactly_at_the_limit_is_allowed_and_a_gram_more_is_not() -> None:
    needs = [Need(0.6, {"FAN": 1}), Need(0.2, {"SEAL": 1})]
    assert best_kit(needs, LOADS, Van(kg=Decimal("1.2"))).parts == {"FAN": 1, "SEAL": 1}
    assert best_kit(needs, LOADS, Van(kg=Decimal("1.199"))).parts == {"FAN": 1}


def test_the_value_limit_counts_as_the_weight_does() -> None:
    needs = [Need(0.4, {"BOARD": 1}), Need(0.35, {"MOTOR": 1}), Need(0.1, {"FAN": 1})]
    assert best_kit(needs, LOADS, Van(value=Decimal("320.00"))).parts == {"MOTOR": 1, "FAN": 1}


def test_of_equally_good_kits_the_lighter_is_taken() -> None:
    needs = [Need(0.4, {"MOTOR": 1}), Need(0.4, {"BOARD": 1})]
    assert best_kit(needs, LOADS, Van(value=Decimal("300.00"))).parts == {"BOARD": 1}


def test_causes_share_the_parts_of_the_one_that_takes_most() -> None:
    needs = [Need(0.5, {"SEAL": 1}), Need(0.3, {"SEAL": 3})]
    assert best_kit(needs, LOADS, Van()).parts == {"SEAL": 3}
    assert best_kit(needs, LOADS, Van(kg=Decimal("0.2"))).parts == {"SEAL": 1}


def test_nothing_is_carried_where_nothing_fits() -> None:
    kit = best_kit([Need(0.5, {"MOTOR": 1}), Need(0.2, {})], LOADS, Van(kg=Decimal("0.05")))
    assert kit.parts == {}
    assert kit.chance == pytest.approx(0.2)


NUMBERS = [f"P{number}" for number in range(7)]
loads = st.fixed_dictionaries(
    {
        number: st.builds(
            Load,
            st.decimals("0.01", "9.99", places=2),
            st.decimals("0.50", "400.00", places=2),
        )
        for number in NUMBERS
    }
)
needs = st.lists(
    st.builds(
        Need,
        st.integers(0, 90_000).map(lambda millionths: millionths / 1_000_000),
        st.dictionaries(st.sampled_from(NUMBERS), st.integers(1, 2), max_size=3),
    ),
    max_size=9,
)
vans = st.builds(
    Van,
    st.none() | st.decimals("0.00", "30.00", places=2),
    st.none() | st.decimals("0.00", "1500.00", places=2),
)


@settings(deadline=None, max_examples=60, derandomize=True)
@given(needs, loads, vans)
def test_no_other_kit_is_better(needs: list[Need], loads: dict[str, Load], van: Van) -> None:
    kit = best_kit(needs, loads, van)
    assert kit.exact
    assert within(kit.parts, loads, van)
    assert whole(kit.chance) == brute_force(needs, loads, van)


@settings(deadline=None, max_examples=60, derandomize=True)
@given(needs, loads, vans)
def test_the_solver_finds_what_trying_all_finds(needs: list[Need], loads: dict[str, Load], van: Van) -> None:
    before = parts_kit.MOST_ENUMERATED
    parts_kit.MOST_ENUMERATED = -1
    try:
        solved = best_kit(needs, loads, van)
    finally:
        parts_kit.MOST_ENUMERATED = before
    assert solved.exact
    assert within(solved.parts, loads, van)
    assert whole(solved.chance) == brute_force(needs, loads, van)


def test_forty_parts_are_chosen_exactly() -> None:
    """One cause a part is a knapsack, which integers by weight solve as well: another road to the answer."""
    loads = {f"P{n:02}": Load(Decimal(7 + n * 37 % 23), Decimal(1)) for n in range(40)}
    chances = {number: (11 + n * 53 % 29) / 1000 for n, number in enumerate(loads)}
    capacity = 240
    best = [0] * (capacity + 1)
    for number, load in loads.items():
        for room in range(capacity, int(load.kg) - 1, -1):
            best[room] = max(best[room], best[room - int(load.kg)] + whole(chances[number]))
    kit = best_kit(
        [Need(chance, {number: 1}) for number, chance in chances.items()], loads, Van(kg=Decimal(capacity))
    )
    assert kit.exact
    assert whole(kit.chance) == best[capacity]
    assert 0 < len(kit.parts) < 40


def test_forty_parts_shared_by_causes_fit_the_van_and_beat_every_kit_of_one_more_cause() -> None:
    loads = {f"P{n:02}": Load(Decimal(3 + n * 7 % 11), Decimal(20 + n * 13 % 90)) for n in range(40)}
    needs = [
        Need((5 + n * 17 % 31) / 1000, {f"P{n:02}": 1, f"P{(n * 3 + 1) % 40:02}": 1 + n % 2})
        for n in range(40)
    ]
    van = Van(kg=Decimal(120), value=Decimal(900))
    kit = best_kit(needs, loads, van)
    assert kit.exact
    assert within(kit.parts, loads, van)
    for need in needs:
        more = {number: max(kit.parts.get(number, 0), need.parts.get(number, 0)) for number in loads}
        assert whole(chance_of(more, needs)) == whole(kit.chance) or not within(more, loads, van)
