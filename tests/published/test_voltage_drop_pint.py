"""Voltage drop over both conductors, against Ohm's law worked in units.

Source: Hernan E. Grecco and others; Pint, a Python units library; 2025; quantity arithmetic
Status: computed with pint
"""

import pint
import pytest

from triage.machine.measures.supply import WIRING_OHM_PER_KFT, drop_volts, percent_of

units = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("awg", "amps", "one_way_ft", "volts", "percent"),
    [
        (12, 16, 100, 6.176, 5.1467),
        (12, 16, 75, 4.632, 3.8600),
        (10, 16, 100, 3.872, 3.2267),
        (14, 12, 50, 3.684, 3.0700),
    ],
)
def test_the_drop_is_current_times_resistance_there_and_back(awg, amps, one_way_ft, volts, percent):
    drop = drop_volts(WIRING_OHM_PER_KFT[awg], one_way_ft, amps)
    per_length = WIRING_OHM_PER_KFT[awg] * units.ohm / (1000 * units.foot)
    loop = 2 * one_way_ft * units.foot * per_length
    assert drop == pytest.approx((amps * units.ampere * loop).to("volt").magnitude)
    assert drop == pytest.approx(volts)
    assert percent_of(drop, 120) == pytest.approx(percent, abs=5e-5)


def test_the_rule_of_thumb_with_a_constant_of_12_9_gives_another_number():
    circular_mils = 6530  # 12 AWG
    rule_of_thumb = 2 * 12.9 * 16 * 100 / circular_mils
    assert rule_of_thumb == pytest.approx(6.3216, abs=5e-5)
    assert drop_volts(WIRING_OHM_PER_KFT[12], 100, 16) < rule_of_thumb
