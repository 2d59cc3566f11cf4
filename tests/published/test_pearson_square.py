"""Blending syrup with water to a wanted sugar share by the Pearson square.

Source: common practice in food and dairy work; Pearson square; author and year unknown
Status: common practice
"""

import pytest

from triage.machine.measures.mix import WATER_KG_PER_L, expected_brix


@pytest.mark.parametrize(("syrup_brix", "wanted_brix"), [(65, 13), (60, 15), (100, 12.5)])
def test_the_square_gives_the_parts_that_make_the_wanted_mix(syrup_brix, wanted_brix):
    syrup_parts_kg = wanted_brix - 0
    water_parts_kg = syrup_brix - wanted_brix
    mixed = expected_brix(water_parts_kg / WATER_KG_PER_L, syrup_parts_kg, 1.0, syrup_brix)
    assert mixed == pytest.approx(wanted_brix)
