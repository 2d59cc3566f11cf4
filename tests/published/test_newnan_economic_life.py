"""The life at which a machine's equivalent annual cost is least, where its value falls 20 % a year.

Source: Newnan, Eschenbach & Lavelle; Engineering Economic Analysis; 14th edition 2020, problem 13-3, and 13th
    edition 2017, problem 13-10
Status: secondary copy (a third party's printed solutions at bartleby.com; recomputed)
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from triage.machine.lifecycle.keep_or_swap import Owning, annual_costs, economic_life


def falling(price: int, running: list[int]) -> Owning:
    values = tuple(price * Decimal("0.8") ** year for year in range(1, len(running) + 1))
    return Owning(Decimal(price), values, tuple(Decimal(cost) for cost in running))


def test_problem_13_3_six_years_win_over_five_by_six_cents():
    machine, rate = falling(24_000, [900 * year for year in range(8)]), Decimal("0.12")
    costs, life = annual_costs(machine, rate), economic_life(machine, rate)
    printed = ["7680.00", "7380.00", "7182.99", "7067.74", "7017.05", "7016.99", "7056.27", "7125.73"]
    assert [str(round(cost, 2)) for cost in costs] == printed
    assert life.years == 6
    assert float(costs[4]) == pytest.approx(7017.0481, abs=5e-5)
    assert float(life.annual_cost) == pytest.approx(7016.9907, abs=5e-5)


def test_problem_13_10_has_its_least_cost_at_four_years():
    machine, rate = falling(50_000, [3500 + 2000 * year for year in range(6)]), Decimal("0.09")
    life = economic_life(machine, rate)
    assert [str(round(cost, 2)) for cost in annual_costs(machine, rate)] == [
        *("18000.00", "17569.38", "17328.57", "17240.11", "17273.37", "17403.37")
    ]
    assert (life.years, round(life.annual_cost)) == (4, 17_240)
