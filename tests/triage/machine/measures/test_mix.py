"""The mix: expected sugar share from what was poured, and the gap to what was measured."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.measures.mix import (
    WATER_KG_PER_L,
    expected_brix,
    facts,
    pouch_kg_from_volume,
    water_to_add_l,
)
from triage.values.errors import InputError

# Two jugs of 5 l with one pouch of 1.5 kg pure sugar powder: 1.5 / (9.982 + 1.5).
POWDER = {
    "water_jugs": Decimal(2),
    "jug_l": Decimal(5),
    "pouches": Decimal(1),
    "pouch_kg": Decimal("1.5"),
    "pouch_brix": Decimal(100),
}


def test_the_sugar_share_is_the_pouches_sugar_over_the_whole_batch():
    assert facts(POWDER)["brix_expected"] == Decimal("13.1")
    assert expected_brix(10, 1, 1.5, 100) == pytest.approx(100 * 1.5 / 11.482)


def test_a_jug_too_many_shows_as_a_thin_mix_against_the_label():
    found = facts(POWDER | {"water_jugs": Decimal(3), "label_brix": Decimal(13)})
    assert found["brix_expected"] == Decimal("9.1")
    assert found["brix_off_label"] == Decimal("-3.9")
    assert (found["mix_too_thin"], found["mix_too_rich"]) == (True, False)
    assert found["mix_water_short_l"] == 0


def test_a_reading_below_the_recipe_is_a_gap_of_its_own():
    found = facts(POWDER | {"brix_measured": Decimal(10)})
    assert found["brix_gap"] == Decimal("-3.1")
    assert found["mix_too_thin"] is True


def test_without_a_recipe_the_label_is_what_is_expected():
    found = facts({"label_brix": Decimal(13), "brix_measured": Decimal("16.5")})
    assert found["brix_expected"] == Decimal("13.0")
    assert found["brix_gap"] == found["brix_off_label"] == Decimal("3.5")
    assert found["mix_too_rich"] is True


def test_a_gap_within_the_tolerance_is_neither_thin_nor_rich():
    found = facts({"label_brix": Decimal(13), "brix_measured": Decimal(12)})
    assert (found["mix_too_thin"], found["mix_too_rich"]) == (False, False)


def test_a_rich_mix_says_how_much_water_is_missing():
    found = facts(POWDER | {"water_jugs": Decimal(1), "label_brix": Decimal(13)})
    assert found["mix_too_rich"] is True
    liters = float(found["mix_water_short_l"])
    assert expected_brix(5 + liters, 1, 1.5, 100) == pytest.approx(13, abs=0.01)


def test_a_syrup_pouch_may_be_given_by_its_volume():
    assert pouch_kg_from_volume(2, 60) == pytest.approx(2.5728)
    by_volume = {**POWDER, "pouch_l": Decimal(2), "pouch_brix": Decimal(60)}
    del by_volume["pouch_kg"]
    assert facts(by_volume)["brix_expected"] == Decimal("12.3")


def test_a_recipe_with_a_piece_missing_says_nothing():
    for missing in POWDER:
        assert facts({name: value for name, value in POWDER.items() if name != missing}) == {}


def test_gallons_are_converted():
    assert facts(POWDER | {"jug_l": "1.32086 gal"})["brix_expected"] == Decimal("13.1")


def test_an_empty_batch_and_impossible_numbers_are_refused():
    with pytest.raises(InputError, match="nothing was poured in"):
        facts(POWDER | {"water_jugs": Decimal(0), "pouches": Decimal(0)})
    with pytest.raises(InputError) as caught:
        facts(POWDER | {"jug_l": Decimal(0), "pouch_brix": Decimal(120)})
    assert {problem.pointer for problem in caught.value.problems} == {"/jug_l", "/pouch_brix"}


@given(st.floats(0.1, 50), st.floats(0.1, 20), st.floats(0.05, 5), st.floats(1, 100))
@settings(deadline=None, derandomize=True)
def test_more_water_always_thins_and_never_past_pure_water(water_l, pouches, pouch_kg, pouch_brix):
    brix = expected_brix(water_l, pouches, pouch_kg, pouch_brix)
    assert 0 < expected_brix(water_l + 1, pouches, pouch_kg, pouch_brix) < brix <= pouch_brix


@given(st.floats(1, 20), st.floats(5, 40), st.floats(5, 40))
@settings(deadline=None, derandomize=True)
def test_adding_the_water_it_asks_for_keeps_the_sugar_and_meets_the_label(batch_kg, brix, wanted):
    water_kg = water_to_add_l(batch_kg, brix, wanted) * WATER_KG_PER_L
    assert batch_kg * brix / (batch_kg + water_kg) == pytest.approx(min(brix, wanted))
