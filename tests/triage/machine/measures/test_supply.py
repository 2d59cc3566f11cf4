"""The supply: drop as calculated and as measured, load, and whether it explains a weak start."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.measures.supply import (
    CORD_OHM_PER_KFT,
    WIRING_OHM_PER_KFT,
    drop_volts,
    explains_weak_start,
    facts,
    measured_drop_volts,
    percent_of,
    start_volts,
)
from triage.values.errors import InputError

AT_120 = {"nominal_volts": Decimal(120)}
LONG_RUN = AT_120 | {"conductor_awg": Decimal(12), "wire_run_ft": Decimal(100), "running_amps": Decimal(16)}


def test_the_drop_of_a_long_run_is_calculated_in_percent_of_nominal():
    found = facts(LONG_RUN)
    assert found["supply_drop_pct"] == found["supply_drop_calculated_pct"] == Decimal("5.15")
    assert found["supply_explains_weak_start"] is True


def test_a_small_calculated_drop_does_not_clear_the_supply():
    found = facts(LONG_RUN | {"wire_run_ft": Decimal(20)})
    assert found["supply_drop_pct"] == Decimal("1.03")
    assert "supply_explains_weak_start" not in found


def test_good_readings_clear_the_supply():
    found = facts(AT_120 | {"idle_volts": Decimal(120), "running_volts": Decimal("117.6")})
    assert found["supply_drop_pct"] == Decimal("2.00")
    assert found["supply_explains_weak_start"] is False


def test_readings_count_before_the_calculation_and_their_excess_is_named():
    found = facts(LONG_RUN | {"idle_volts": Decimal(120), "running_volts": Decimal(108)})
    assert found["supply_drop_pct"] == Decimal("10.00")
    assert found["supply_drop_calculated_pct"] == Decimal("5.15")
    assert found["supply_drop_excess_pct"] == Decimal("4.85")


def test_a_low_running_voltage_explains_a_weak_start_even_with_a_small_drop():
    found = facts(AT_120 | {"idle_volts": Decimal(109), "running_volts": Decimal(107)})
    assert found["supply_drop_pct"] == Decimal("1.67")
    assert found["supply_idle_off_band"] is True
    assert found["supply_explains_weak_start"] is True


def test_the_cord_adds_its_drop_there_and_back():
    with_cord = facts(LONG_RUN | {"extension_cord": True, "cord_awg": Decimal(16), "cord_ft": Decimal(25)})
    drop = drop_volts(WIRING_OHM_PER_KFT[12], 100, 16) + drop_volts(CORD_OHM_PER_KFT[16], 25, 16)
    assert float(with_cord["supply_drop_pct"]) == pytest.approx(percent_of(drop, 120), abs=0.005)
    assert with_cord["cord_replaces_wiring"] is True
    assert facts({"extension_cord": False})["cord_replaces_wiring"] is False
    assert "cord_replaces_wiring" not in facts({})


def test_a_cord_of_unknown_size_leaves_the_calculated_drop_unknown():
    assert "supply_drop_pct" not in facts(LONG_RUN | {"extension_cord": True})


def test_the_starting_current_pulls_the_voltage_down_in_proportion():
    assert start_volts(120, 3, 10, 50) == pytest.approx(105)
    with pytest.raises(InputError, match="running current"):
        start_volts(120, 3, 0, 50)
    readings = AT_120 | {
        "idle_volts": Decimal(118),
        "running_volts": Decimal(114),
        "running_amps": Decimal(10),
    }
    assert facts(readings)["supply_explains_weak_start"] is False
    found = facts(readings | {"start_amps": Decimal(50)})
    assert found["supply_start_volts"] == Decimal("98.0")
    assert found["supply_explains_weak_start"] is True


def test_nothing_measured_and_nothing_calculated_says_nothing_about_a_weak_start():
    assert explains_weak_start(nominal_volts=120) is None
    assert facts({}) == {}


def test_without_a_nominal_voltage_nothing_is_said_in_percent_of_it():
    unknown = {name: value for name, value in LONG_RUN.items() if name != "nominal_volts"}
    low = {"idle_volts": Decimal(90), "running_volts": Decimal(80), "start_amps": Decimal(50)}
    assert facts(unknown | low).keys() == {"supply_start_volts"}
    assert facts(unknown | {"start_amps": Decimal(50)}) == {}
    assert explains_weak_start(nominal_volts=None, running_volts=80) is None
    assert explains_weak_start(nominal_volts=None, calculated_drop_pct=6.0) is True


def test_percentages_refer_to_the_nominal_voltage_of_the_machine():
    found = facts({"nominal_volts": Decimal(208), "idle_volts": Decimal(208), "running_volts": Decimal(200)})
    assert found["supply_drop_pct"] == Decimal("3.85")
    assert found["supply_idle_off_band"] is False


def test_a_voltage_that_rises_a_little_is_noise_and_counts_as_no_drop():
    assert measured_drop_volts(119, 120) == -1
    assert facts(AT_120 | {"idle_volts": Decimal(119), "running_volts": Decimal(120)})["supply_drop_pct"] == 0


def test_readings_that_look_swapped_are_refused():
    with pytest.raises(InputError, match="swapped"):
        measured_drop_volts(105, 120)


def test_lengths_and_voltages_may_come_with_units():
    metric = facts(LONG_RUN | {"wire_run_ft": "30.48 m"})
    assert metric["supply_drop_pct"] == facts(LONG_RUN)["supply_drop_pct"]


def test_every_impossible_input_is_reported():
    with pytest.raises(InputError) as caught:
        facts({"wire_run_ft": Decimal(-1), "circuit_amps": Decimal(0), "idle_volts": Decimal(9000)})
    assert {problem.pointer for problem in caught.value.problems} == {
        "/wire_run_ft",
        "/circuit_amps",
        "/idle_volts",
    }


def test_a_drop_somebody_already_knows_is_not_replaced():
    assert "supply_drop_pct" not in facts(LONG_RUN | {"supply_drop_pct": Decimal(9)})


@given(st.sampled_from([14, 12, 10]), st.floats(0, 300), st.floats(0.1, 30))
@settings(deadline=None, derandomize=True)
def test_a_thicker_conductor_never_drops_more(awg, one_way_ft, amps):
    thin, thick = (
        drop_volts(WIRING_OHM_PER_KFT[14], one_way_ft, amps),
        drop_volts(WIRING_OHM_PER_KFT[awg], one_way_ft, amps),
    )
    assert 0 <= thick <= thin


def test_a_number_exactly_at_its_limit_is_still_good_enough():
    at_limits = {"running_volts": 108.0, "starting_volts": 102.0, "measured_drop_pct": 5.0}
    assert explains_weak_start(nominal_volts=120, **at_limits) is False
    assert explains_weak_start(nominal_volts=120, calculated_drop_pct=5.0) is None
    assert explains_weak_start(nominal_volts=120, **at_limits | {"running_volts": 107.9}) is True
    assert explains_weak_start(nominal_volts=120, **at_limits | {"starting_volts": 101.9}) is True


def test_one_good_reading_alone_does_not_clear_the_supply():
    assert explains_weak_start(nominal_volts=120, running_volts=118) is None
    assert explains_weak_start(nominal_volts=120, measured_drop_pct=1.0) is None


@pytest.mark.parametrize("missing", ["conductor_awg", "wire_run_ft", "running_amps", "cord_awg", "cord_ft"])
def test_no_drop_is_calculated_while_a_piece_is_missing(missing):
    whole = LONG_RUN | {"extension_cord": True, "cord_awg": Decimal(16), "cord_ft": Decimal(25)}
    assert "supply_drop_calculated_pct" in facts(whole)
    assert "supply_drop_calculated_pct" not in facts({k: v for k, v in whole.items() if k != missing})


@pytest.mark.parametrize("missing", ["circuit_amps", "running_amps"])
def test_no_load_is_judged_while_a_piece_is_missing(missing):
    whole = {"circuit_amps": Decimal(20), "running_amps": Decimal(12)}
    assert facts(whole)["circuit_headroom_amps"] == Decimal("4.00")
    assert "circuit_headroom_amps" not in facts({k: v for k, v in whole.items() if k != missing})


def test_a_fixed_machine_said_to_share_its_circuit_may_draw_half_whatever_the_other_load():
    fixed = {"circuit_amps": Decimal(20), "running_amps": Decimal(11), "fastened_in_place": True}
    assert facts(fixed | {"other_load_amps": Decimal(0)})["circuit_overloaded"] is False
    assert facts(fixed | {"shares_circuit": True})["circuit_overloaded"] is True
