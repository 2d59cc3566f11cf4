"""Density and specific heat of water at 1 atm, the sugar-free end of the tables.

Source: I. H. Bell and others; CoolProp, pure and pseudo-pure fluid properties; 2014 and later; fluid "Water"
Status: computed with CoolProp
"""

import pytest
from CoolProp.CoolProp import PropsSI

from triage.machine.measures.freeze import chen_kj_per_kg_k, siebel_kj_per_kg_k
from triage.machine.measures.mix import WATER_KG_PER_L
from triage.machine.measures.quantities import density_kg_per_l

ATMOSPHERE = 101325


def water(output, celsius):
    return PropsSI(output, "T", 273.15 + celsius, "P", ATMOSPHERE, "Water")


def test_without_sugar_the_density_is_that_of_water_at_20_c():
    assert density_kg_per_l(0) == pytest.approx(water("D", 20) / 1000, rel=1e-4)
    assert density_kg_per_l(0) == WATER_KG_PER_L


@pytest.mark.parametrize("celsius", [5, 20, 25])
def test_without_sugar_the_specific_heats_are_that_of_water_within_half_a_percent(celsius):
    water_kj_per_kg_k = water("C", celsius) / 1000
    assert chen_kj_per_kg_k(0) == pytest.approx(water_kj_per_kg_k, rel=5e-3)
    assert siebel_kj_per_kg_k(0) == pytest.approx(water_kj_per_kg_k, rel=5e-3)
