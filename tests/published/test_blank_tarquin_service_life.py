"""Economic service life of an asset whose value is given year by year.

Source: Blank & Tarquin; Engineering Economy; edition and year unknown; replacement chapter,
    economic service life
Status: from memory (the inputs; the results are computed)
"""

from __future__ import annotations

from decimal import Decimal

from triage.machine.lifecycle.keep_or_swap import Owning, annual_costs, economic_life


def test_the_service_life_is_three_years():
    asset = Owning(
        Decimal(13_000),
        tuple(Decimal(value) for value in (9000, 8000, 6000, 2000, 0)),
        tuple(Decimal(cost) for cost in (2500, 2700, 3000, 3500, 4500)),
    )
    life = economic_life(asset, Decimal("0.10"))
    assert [str(round(cost, 2)) for cost in annual_costs(asset, Decimal("0.10"))] == [
        *("7800.00", "6276.19", "6132.33", "6556.30", "6579.84")
    ]
    assert life.years == 3
