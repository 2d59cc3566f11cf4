"""Voltage drop of a 24 V circuit: 16 AWG, 100 ft one way, 4 A.

Source: Electrician2; voltage drop lesson (web page, author and year unknown); page 135;
    http://electrician2.com/weltrain05/lpage135.html
Status: read
"""

import pytest

from triage.machine.measures.supply import CORD_OHM_PER_KFT, drop_volts, percent_of


def printed_case():
    return drop_volts(CORD_OHM_PER_KFT[16], 100, 4)


def test_the_drop_is_the_printed_four_volts():
    drop = printed_case()
    assert drop == pytest.approx(3.992)
    assert round(drop, 1) == 4.0


def test_the_percentage_is_the_printed_one_once_the_drop_is_rounded_as_the_page_does():
    drop = printed_case()
    assert 100 * round(drop, 1) / 24 == pytest.approx(16.7, abs=0.05)
    assert 100 * drop / 24 == pytest.approx(16.633, abs=5e-4)


def test_percent_is_of_the_nominal_voltage():
    assert percent_of(6.0, 120) == 5.0
