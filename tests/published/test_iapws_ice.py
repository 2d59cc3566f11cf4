"""Heat of melting of ice at 0 C and the specific heat of ice.

Source: International Association for the Properties of Water and Steam; Revised Release on the Equation of
    State 2006 for H2O Ice Ih (R10-06) and IAPWS-95 (R6-95); 2009 and 2018; as in the iapws package
Status: computed with iapws
"""

import pytest
from iapws import IAPWS95
from iapws._iapws import _Ice

from triage.machine.measures.freeze import LATENT_HEAT_KJ_PER_KG

ATMOSPHERE_MPA = 0.101325


def test_the_latent_heat_is_the_step_from_ice_to_water_within_a_tenth_of_a_percent():
    water = IAPWS95(T=273.1501, P=ATMOSPHERE_MPA)
    ice = _Ice(273.15, ATMOSPHERE_MPA)
    assert water.h - ice["h"] == pytest.approx(333.421, abs=2e-3)
    assert pytest.approx(water.h - ice["h"], rel=1e-3) == LATENT_HEAT_KJ_PER_KG


def test_leaving_out_the_cooling_below_freezing_costs_about_one_percent_of_the_heat():
    # 40 % ice of a 13 % mix: from -0.85 to -1.64 C; ice and liquid taken at their own specific heats.
    ice_cp = _Ice(273.15, ATMOSPHERE_MPA)["cp"]
    left_out = (1.637 - 0.85) * (0.4 * ice_cp + 0.6 * 3.7)
    counted = 20.85 * 3.75 + 0.4 * LATENT_HEAT_KJ_PER_KG
    assert 0.005 < left_out / counted < 0.015
