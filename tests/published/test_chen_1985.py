"""Specific heat of food above freezing from its solids: 4.19 - 2.30 xs - 0.628 xs^3, kJ/kg K.

Source: C. S. Chen; Thermodynamic analysis of the freezing and thawing of foods; 1985; equation as in ASHRAE
    Handbook Refrigeration, "Thermal Properties of Foods"
Status: from memory
"""

import pytest

from triage.machine.measures.freeze import chen_kj_per_kg_k, siebel_kj_per_kg_k


@pytest.mark.parametrize(("brix", "kj_per_kg_k"), [(10, 3.95937), (13, 3.88962), (15, 3.84288)])
def test_the_specific_heat_follows_chen(brix, kj_per_kg_k):
    assert chen_kj_per_kg_k(brix) == pytest.approx(kj_per_kg_k, abs=5e-6)


def test_chen_lies_two_to_five_percent_above_siebel_for_the_mixes_we_see():
    for brix in (10, 13, 15):
        assert 1.02 < chen_kj_per_kg_k(brix) / siebel_kj_per_kg_k(brix) < 1.05
