"""Heat of fusion of water from a chemical property database.

Source: Caleb Bell and others; chemicals, a Python library of chemical properties; 2020 and later; Hfus of CAS
    7732-18-5 (CRC handbook data)
Status: computed with chemicals
"""

import chemicals
import pytest

from triage.machine.measures.freeze import LATENT_HEAT_KJ_PER_KG


def test_the_latent_heat_agrees_with_the_database_within_a_tenth_of_a_percent():
    joules_per_mole = chemicals.Hfus("7732-18-5")
    kj_per_kg = joules_per_mole / chemicals.MW("7732-18-5")
    assert kj_per_kg == pytest.approx(333.606, abs=5e-3)
    assert pytest.approx(kj_per_kg, rel=1e-3) == LATENT_HEAT_KJ_PER_KG
