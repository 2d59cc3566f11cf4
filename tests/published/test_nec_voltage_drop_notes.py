"""Advice, not a rule: at most 5 % voltage drop over feeder and branch circuit to the farthest outlet.

Source: National Fire Protection Association; NFPA 70 National Electrical Code; edition unknown;
    informational notes to 210.19 and 215.2
Status: from memory
"""

from triage.machine.measures.supply import explains_weak_start


def test_a_drop_beyond_five_percent_explains_a_weak_start():
    assert explains_weak_start(nominal_volts=120, measured_drop_pct=5.1, running_volts=114) is True
    assert explains_weak_start(nominal_volts=120, calculated_drop_pct=5.1) is True


def test_a_drop_of_five_percent_is_still_within_the_advice():
    assert explains_weak_start(nominal_volts=120, measured_drop_pct=5.0, running_volts=114) is False
