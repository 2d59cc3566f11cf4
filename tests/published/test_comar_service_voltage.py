"""The band a utility keeps at the service of a 120 V customer: 114 to 126 V.

Source: State of Maryland; Code of Maryland Regulations; year of the copy unknown; 20.50.07.02;
    http://www.dsd.state.md.us/comar/comarhtml/20/20.50.07.02.htm
Status: read
"""

from decimal import Decimal

import pytest

from triage.machine.measures.supply import facts


@pytest.mark.parametrize(
    ("idle_volts", "off_band"),
    [("113.9", True), ("114", False), ("120", False), ("126", False), ("126.1", True)],
)
def test_an_idle_voltage_outside_the_band_is_a_fact(idle_volts, off_band):
    at_120 = {"nominal_volts": Decimal(120)}
    assert facts(at_120 | {"idle_volts": Decimal(idle_volts)})["supply_idle_off_band"] is off_band
