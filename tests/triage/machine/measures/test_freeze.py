"""Freeze-down: ice share, heat, time with a band, and when it is too early to call it a fault."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.measures.freeze import (
    facts,
    freeze_time,
    heat_to_remove_kj,
    ice_share,
    net_watts,
    siebel_kj_per_kg_k,
    temperature_at_ice_share_c,
)
from triage.machine.measures.quantities import density_kg_per_l, freezing_point_c
from triage.values.errors import InputError

REFILL = {
    "refill_volume_l": Decimal("9.517"),  # 10 kg at 13 %
    "label_brix": Decimal(13),
    "refill_temp_c": Decimal(20),
    "cooling_watts": Decimal(800),
}


@pytest.mark.parametrize(
    ("temperature_c", "brix_of_liquid", "share"),
    [
        (-1.10, 16, 0.1875),
        (-1.47, 20, 0.3500),
        (-1.67, 22, 0.4091),
        (-2.12, 26, 0.5000),
        (-2.64, 30, 0.5667),
        (-4.45, 40, 0.6750),
    ],
)
def test_the_ice_share_of_a_13_percent_mix_follows_the_lever_rule(temperature_c, brix_of_liquid, share):
    assert ice_share(13, temperature_c) == pytest.approx(float(1 - Fraction(13, brix_of_liquid)))
    assert ice_share(13, temperature_c) == pytest.approx(share, abs=5e-5)


@pytest.mark.parametrize(("temperature_c", "share"), [(-1.10, 0.1977), (-2.12, 0.5212), (-4.45, 0.7038)])
def test_the_ideal_law_gives_slightly_more_ice_than_the_table(temperature_c, share):
    ideal = 0.87 * (1 - -0.85 / temperature_c)
    assert ideal == pytest.approx(share, abs=5e-5)
    assert 0 < ideal - ice_share(13, temperature_c) < 0.03


def test_there_is_no_ice_at_or_above_the_freezing_point():
    assert ice_share(13, -0.85) == 0.0
    assert ice_share(13, 20) == 0.0


def test_the_temperature_of_an_ice_share_is_where_the_lever_rule_gives_it_back():
    assert temperature_at_ice_share_c(13, 0.4) == pytest.approx(-1.637, abs=5e-4)
    assert ice_share(13, temperature_at_ice_share_c(13, 0.4)) == pytest.approx(0.4)


@pytest.mark.parametrize(("brix", "share"), [(13, 0.8), (13, 1.0), (13, -0.1)])
def test_an_ice_share_that_leaves_the_table_is_refused(brix, share):
    with pytest.raises(InputError, match="outside the table"):
        temperature_at_ice_share_c(brix, share)


def test_ten_kilograms_at_13_percent_from_20_c_to_40_percent_ice_take_2116_kilojoules():
    cp = siebel_kj_per_kg_k(13)
    sensible = heat_to_remove_kj(10, 13, 20, 0.0, specific_heat=cp)
    total = heat_to_remove_kj(10, 13, 20, 0.4, specific_heat=cp)
    assert sensible == pytest.approx(782.006, rel=2e-4)
    assert total - sensible == pytest.approx(1334.2)
    assert total == pytest.approx(2116.206, rel=1e-4)
    assert total * 1000 / 800 / 60 == pytest.approx(44.0876, rel=1e-4)


def test_the_expected_time_lies_in_its_band_and_near_the_hand_worked_44_minutes():
    time = freeze_time(10 / density_kg_per_l(13), 13, 20, 0.4, 800)
    assert time.low_minutes < 44.0876 < time.minutes < time.high_minutes
    assert time.minutes == pytest.approx(44.0876, rel=0.02)


def test_a_hot_room_costs_capacity_and_a_cool_one_gives_no_credit():
    assert net_watts(800, 25) == net_watts(800, 10) == 800
    assert net_watts(800, 35) == pytest.approx(680)
    assert net_watts(800, 200) == pytest.approx(240)


def test_soon_after_a_warm_refill_it_is_too_early_to_call_it_a_fault():
    found = facts(REFILL | {"minutes_since_refill": Decimal(20)})
    assert found["too_early"] is True
    assert found["minutes_until_servable"] == Decimal(25)
    assert found["servable_after_min_low"] < found["servable_after_min"] < found["servable_after_min_high"]
    late = float(found["servable_after_min_high"] / found["servable_after_min"] - 1)
    assert float(found["servable_error_pct"]) == pytest.approx(100 * late, abs=3)  # of rounded minutes
    assert 40 < found["servable_error_pct"] < 50


def test_between_the_expected_time_and_the_end_of_the_band_it_is_due_but_still_too_early():
    found = facts(REFILL | {"minutes_since_refill": Decimal(55)})
    assert found["minutes_until_servable"] == 0
    assert found["too_early"] is True


def test_after_the_band_it_is_no_longer_too_early():
    assert facts(REFILL | {"minutes_since_refill": Decimal(90)})["too_early"] is False


def test_a_machine_switched_on_after_the_refill_has_cooled_only_since_then():
    found = facts(REFILL | {"minutes_since_refill": Decimal(600), "minutes_since_start": Decimal(15)})
    assert found["too_early"] is True
    assert found["minutes_until_servable"] == Decimal(30)


def test_without_the_time_of_the_refill_nothing_is_said_about_too_early():
    found = facts(REFILL)
    assert "too_early" not in found and "minutes_until_servable" not in found
    assert found["servable_after_min"] == Decimal(45)


def test_the_ice_share_at_a_known_serving_temperature_is_the_goal():
    found = facts(REFILL | {"serving_temp_c": Decimal("-2.12")})
    assert found["ice_share_pct"] == Decimal("50.0")
    assert found["freezing_point_c"] == Decimal("-0.85")
    assert found["heat_to_remove_kj"] > facts(REFILL)["heat_to_remove_kj"]


def test_without_a_serving_temperature_the_one_for_the_usual_ice_share_is_given():
    found = facts({"label_brix": Decimal(13)})
    assert found == {
        "freezing_point_c": Decimal("-0.85"),
        "serving_temperature_c": Decimal("-1.64"),
        "ice_share_pct": Decimal("40.0"),
    }


def test_a_measured_sugar_share_counts_before_an_expected_one_and_that_before_the_label():
    label, expected, measured = Decimal(13), Decimal(15), Decimal(10)
    known = {"label_brix": label}
    assert facts(known)["freezing_point_c"] == Decimal("-0.85")
    known["brix_expected"] = expected
    assert facts(known)["freezing_point_c"] == Decimal("-1.01")
    known["brix_measured"] = measured
    assert facts(known)["freezing_point_c"] == Decimal("-0.63")


def test_how_warm_the_refill_was_may_be_told_in_a_clerks_words():
    def heat(**known):
        base = {name: value for name, value in REFILL.items() if name != "refill_temp_c"}
        return facts(base | known).get("heat_to_remove_kj")

    assert heat() is None
    assert heat(refill_temp="room") is None
    room = heat(refill_temp="room", room_temp_f=Decimal(68))
    assert heat(refill_temp="cold") < room < heat(refill_temp="hot")
    assert room == facts(REFILL)["heat_to_remove_kj"]


def test_a_gallon_and_its_litres_need_the_same_time():
    gallons = facts(REFILL | {"refill_volume_l": "2.5141 gal"})
    assert gallons["servable_after_min"] == facts(REFILL)["servable_after_min"]


def test_a_mix_too_sweet_for_the_table_gets_no_promise():
    assert facts(REFILL | {"label_brix": Decimal(30)}) == {"freezing_point_c": Decimal("-2.64")}
    assert facts(REFILL | {"brix_measured": Decimal(60)}) == {}


def test_impossible_inputs_are_reported_together():
    with pytest.raises(InputError) as caught:
        facts(REFILL | {"refill_volume_l": Decimal(0), "cooling_watts": Decimal(-5)})
    assert {problem.pointer for problem in caught.value.problems} == {"/refill_volume_l", "/cooling_watts"}
    with pytest.raises(InputError, match="above 0 W"):
        freeze_time(10, 13, 20, 0.4, 0)


@given(
    volume_l=st.floats(0.1, 60),
    brix=st.floats(0, 20),
    from_c=st.floats(0, 60),
    share=st.floats(0, 0.5),
    watts=st.floats(50, 5000),
)
@settings(deadline=None, derandomize=True)
def test_more_product_warmer_product_and_more_ice_take_longer(volume_l, brix, from_c, share, watts):
    time = freeze_time(volume_l, brix, from_c, share, watts)
    assert time.low_minutes <= time.minutes <= time.high_minutes
    assert freeze_time(volume_l / 2 + 0.05, brix, from_c, share, watts).minutes <= time.minutes + 1e-9
    assert freeze_time(volume_l, brix, from_c + 1, share, watts).minutes > time.minutes
    assert freeze_time(volume_l, brix, from_c, share + 0.05, watts).minutes > time.minutes


@given(st.floats(0.5, 25), st.floats(-4.4, 0))
@settings(deadline=None, derandomize=True)
def test_colder_slush_never_holds_less_ice(brix, temperature_c):
    warmer, colder = ice_share(brix, temperature_c), ice_share(brix, temperature_c - 0.4)
    assert 0 <= warmer <= colder < 1
    assert warmer == 0 or temperature_c < freezing_point_c(brix)


@pytest.mark.parametrize("missing", list(REFILL))
def test_no_time_is_promised_while_a_piece_is_missing(missing):
    rest = {name: value for name, value in REFILL.items() if name != missing}
    assert "servable_after_min" not in facts(rest | {"minutes_since_refill": Decimal(5)})


def test_a_room_hotter_than_the_rating_lengthens_the_time_by_the_capacity_lost():
    def minutes(**known):
        return float(facts(REFILL | known)["servable_after_min"])

    assert minutes(room_temp_f=Decimal(95)) == pytest.approx(minutes() / 0.85, abs=1)
    assert minutes(room_temp_f=Decimal(95), cooling_rated_at_c=Decimal(35)) == minutes()
    assert minutes(room_temp_f=Decimal(50)) == minutes()
