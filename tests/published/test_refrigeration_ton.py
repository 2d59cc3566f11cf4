"""A ton of refrigeration: 2000 lb of ice at 144 Btu/lb in 24 hours is 12 000 Btu/h, 3.51685 kW.

Source: ASHRAE and trade usage; definition of the ton of refrigeration; year unknown; number in kW from
    memory
Status: from memory
"""

import pytest

from triage.machine.measures.quantities import in_unit


def test_a_capacity_in_tons_or_btu_per_hour_comes_in_as_watts():
    assert in_unit("1 ton_of_refrigeration", "watt") == pytest.approx(3516.85, abs=0.01)
    assert in_unit("12000 Btu/h", "watt") == pytest.approx(in_unit("1 ton_of_refrigeration", "watt"))


def test_a_ton_is_the_latent_heat_of_2000_pounds_of_ice_a_day():
    assert in_unit("1 ton_of_refrigeration", "Btu/h") == pytest.approx(2000 * 144 / 24)
