"""A ton of refrigeration: 2000 lb of ice at 144 Btu/lb in 24 hours is 12 000 Btu/h, 3.51685 kW.

Source: ASHRAE and trade usage; definition of the ton of refrigeration; year unknown; number in kW from
    memory
Status: from memory
"""

import pytest

from triage.values.units import read_quantity


def test_a_capacity_in_tons_or_btu_per_hour_comes_in_as_watts():
    watts = float(read_quantity("1 ton_of_refrigeration", "watt"))
    assert watts == pytest.approx(3516.85, abs=0.01)
    assert float(read_quantity("12000 Btu/h", "watt")) == pytest.approx(watts)


def test_a_ton_is_the_latent_heat_of_2000_pounds_of_ice_a_day():
    assert float(read_quantity("1 ton_of_refrigeration", "Btu/h")) == pytest.approx(2000 * 144 / 24)
