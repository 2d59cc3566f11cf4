"""A cord-and-plug item draws at most 80 % of a circuit, one fixed in place beside other loads at most 50 %.

Source: National Fire Protection Association; NFPA 70 National Electrical Code; edition as quoted in 2023;
    210.23(A)(1) and (A)(2);
    https://electricalcode.net/2023/12/22/article-210-branch-circuits-part-2-branch-circuit-ratings-210-23
Status: secondary copy
"""

from decimal import Decimal

import pytest

from triage.machine.measures.supply import facts, headroom_amps, permitted_amps


def test_a_plugged_in_machine_may_draw_eighty_percent_of_the_circuit():
    assert permitted_amps(20) == pytest.approx(16)


def test_a_machine_fastened_in_place_that_shares_its_circuit_may_draw_half():
    assert permitted_amps(20, fastened_in_place=True, shares_circuit=True) == pytest.approx(10)
    assert permitted_amps(20, fastened_in_place=True) == pytest.approx(16)


def test_other_loads_use_up_the_headroom():
    assert headroom_amps(20, 12, 3) == pytest.approx(1)
    assert headroom_amps(15, 12, 3) == pytest.approx(-3)


def test_a_machine_at_exactly_eighty_percent_does_not_overload_the_circuit():
    found = facts({"circuit_amps": Decimal(20), "running_amps": Decimal(16)})
    assert found["circuit_overloaded"] is False
    assert found["circuit_headroom_amps"] == 0


def test_half_the_circuit_is_the_limit_for_a_fixed_machine_with_company():
    known = {
        "circuit_amps": Decimal(20),
        "running_amps": Decimal(11),
        "other_load_amps": Decimal(2),
        "fastened_in_place": True,
    }
    assert facts(known)["circuit_overloaded"] is True
    assert facts(known | {"fastened_in_place": False})["circuit_overloaded"] is False
