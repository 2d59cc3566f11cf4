"""Largest cord-and-plug load by receptacle: 12 A on 15 A, 16 A on 20 A, 24 A on 30 A.

Source: National Fire Protection Association; NFPA 70 National Electrical Code; edition of the copy
    unknown; table 210.21(B)(2)
Status: secondary copy
"""

import pytest

from triage.machine.measures.supply import permitted_amps


@pytest.mark.parametrize(("receptacle_amps", "load_amps"), [(15, 12), (20, 16), (30, 24)])
def test_the_permitted_load_agrees_with_the_receptacle_table(receptacle_amps, load_amps):
    assert permitted_amps(receptacle_amps) == pytest.approx(load_amps)
