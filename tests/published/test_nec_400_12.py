"""A flexible cord does not stand in for fixed wiring.

Source: National Fire Protection Association; NFPA 70 National Electrical Code; 2020; 400.12, as explained at
    https://ecmweb.com/national-electrical-code/qa/article/21216469/ (400.8 in older editions, from memory)
Status: secondary copy
"""

from triage.machine.measures.supply import facts


def test_an_extension_cord_in_use_is_named_as_standing_in_for_wiring():
    assert facts({"extension_cord": True})["cord_replaces_wiring"] is True


def test_no_cord_is_no_finding_and_an_unknown_cord_is_no_fact():
    assert facts({"extension_cord": False})["cord_replaces_wiring"] is False
    assert "cord_replaces_wiring" not in facts({})
