"""Specific heat of food above freezing from its water share: 0.83736 + 3.349 x water, kJ/kg K.

Source: E. Siebel; Specific heat of various products (title from memory); 1892; coefficients as in the source
    of the scisuit package, https://github.com/gbingol/scisuit_pypkg
Status: secondary copy
"""

import pytest

from triage.machine.measures.freeze import siebel_kj_per_kg_k


@pytest.mark.parametrize(("brix", "kj_per_kg_k"), [(10, 3.8511), (13, 3.75063), (15, 3.68365)])
def test_the_specific_heat_follows_siebel(brix, kj_per_kg_k):
    # Reference values were worked with .837, which is the same to four numbers.
    assert siebel_kj_per_kg_k(brix) == pytest.approx(kj_per_kg_k, abs=5e-4)
