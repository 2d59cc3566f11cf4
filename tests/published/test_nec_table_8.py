"""Resistance of copper conductors at 75 C, solid and stranded.

Source: National Fire Protection Association; NFPA 70 National Electrical Code; 2011; chapter 9, table 8;
    copies at http://www.sfasoft.com/look/35/Conductor_Properties (both rows) and
    http://www.electrical-design-tutor.com/conductorresistance.html (stranded rows)
Status: secondary copy

A third copy (https://voltdropcalc.com/nec-chapter-9-table-8/) has the same numbers for 14, 12 and 10 AWG but
labels these solid rows "stranded".
"""

import pytest

from triage.machine.measures.supply import CORD_OHM_PER_KFT, WIRING_OHM_PER_KFT, facts
from triage.values.errors import InputError


@pytest.mark.parametrize(("awg", "ohm_per_kft"), [(14, 3.07), (12, 1.93), (10, 1.21), (8, 0.778), (6, 0.491)])
def test_branch_wiring_is_solid_up_to_ten_gauge_and_stranded_above(awg, ohm_per_kft):
    assert WIRING_OHM_PER_KFT[awg] == ohm_per_kft


@pytest.mark.parametrize(("awg", "ohm_per_kft"), [(18, 7.95), (16, 4.99), (14, 3.14), (12, 1.98), (10, 1.24)])
def test_cords_are_stranded(awg, ohm_per_kft):
    assert CORD_OHM_PER_KFT[awg] == ohm_per_kft


def test_stranding_raises_the_resistance_of_a_size_by_two_to_three_percent():
    for awg in (14, 12, 10):
        assert 1.022 < CORD_OHM_PER_KFT[awg] / WIRING_OHM_PER_KFT[awg] < 1.027


def test_a_size_that_is_not_in_the_table_is_an_input_error_naming_the_sizes():
    with pytest.raises(InputError, match="13 AWG is not in the table; sizes are 14, 12, 10, 8, 6"):
        facts({"conductor_awg": 13, "wire_run_ft": 10, "running_amps": 5})
