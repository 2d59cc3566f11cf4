"""Whom to look after: small fleets counted by hand, and the tests held to their one-machine forms."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from triage.machine.lifecycle.trend import Observation, laplace
from triage.repairs.acting import (
    MOST_FALSE,
    Calls,
    Commissioned,
    Rate,
    by_commissioning,
    compared,
    days_of,
    often_down,
    places,
    rising,
)
from triage.repairs.period import Period, Sums

YEAR = Period(date(2025, 6, 1), date(2026, 5, 31))


def test_a_store_with_more_repeats_than_chance_stands_out() -> None:
    found, share = places(
        {"calm": Sums(on_machine=20), "again": Sums(on_machine=6, repeats=5), "not_known": Sums(on_machine=9)}
    )
    assert share == pytest.approx(5 / 26)
    assert [(one.site, one.reports, one.repeats) for one in found] == [("again", 6, 5), ("calm", 20, 0)]
    assert [one.stands_out for one in found] == [True, False]
    (once, _), _ = places({"once": Sums(on_machine=2, repeats=1), "many": Sums(on_machine=90)})
    assert once.share > once.limit
    assert not once.stands_out


def test_days_of_service_begin_with_the_machine() -> None:
    since = {"old": date(2020, 1, 1), "new": date(2026, 5, 31), "later": date(2026, 6, 1)}
    assert days_of(since, YEAR) == {"old": 365, "new": 1}


def test_a_machine_that_calls_often_is_drawn_towards_its_fleet() -> None:
    calls = {f"Q{one}": Calls(1, 100) for one in range(30)} | {"LOUD": Calls(15, 3000)}
    first = often_down(calls, dict.fromkeys(calls, 90))[0]
    assert (first.name, first.calls) == ("LOUD", 15)
    assert 1.2 < first.rate < first.calls / first.expected


def test_calls_that_come_closer_together_are_found_by_the_laplace_test() -> None:
    times = (40.0, 330.0, 340.0, 350.0, 355.0, 360.0)
    calls = {"WORN": Calls(len(times), sum(times)), "STEADY": Calls(6, 6 * 182.5), "FEW": Calls(4, 1400)}
    found, tested = rising(calls, dict.fromkeys(calls, 365), YEAR)
    assert tested == 2
    (worn,) = found
    alone = laplace(Observation(times, 365))
    assert alone is not None
    assert (worn.machine, worn.calls) == ("WORN", 6)
    assert worn.z == pytest.approx(alone.statistic)
    assert worn.false == pytest.approx(2 * alone.chance_if_steady_faster)  # the lowest of two


def test_a_machine_that_came_within_the_period_is_tested_over_its_own_days() -> None:
    calls = {"NEW": Calls(6, 6 * (265 + 50))}  # in service for the last 100 days, calls around their middle
    assert rising(calls, {"NEW": 100}, YEAR) == ((), 1)
    assert rising(calls, {"NEW": 365}, YEAR)[0][0].machine == "NEW"


def test_of_steady_machines_hardly_any_is_said_to_rise() -> None:
    random = np.random.default_rng(11)
    calls = {}
    for number in range(2000):
        times = random.uniform(0, 365, random.poisson(9))
        calls[f"M{number}"] = Calls(len(times), float(times.sum()))
    found, tested = rising(calls, dict.fromkeys(calls, 365), YEAR)
    assert tested > 1800
    assert len(found) <= 2
    assert all(one.false <= MOST_FALSE for one in found)


def test_rates_are_compared_only_where_there_is_enough_to_say() -> None:
    many, few = Rate.of(50, 60, 50), Rate.of(50, 9, 50)
    assert few.too_few
    assert compared(many, few) is None
    found = compared(many, Rate.of(50, 20, 50))
    assert found is not None
    assert (found.ratio, found.says) == (pytest.approx(3), "more")
    assert compared(many, many).says == "neither"  # type: ignore[union-attr]
    assert Rate.of(0, 0, 0).a_year is None
    assert Rate.of(0, 0, 0).high is None


def test_calls_are_counted_by_how_a_machine_was_commissioned() -> None:
    found = [
        Commissioned("A", 0, 0, 1),
        Commissioned("B", 2, 0, 2),
        Commissioned("C", 2, 1, 4),
        Commissioned("D", 0, 3, 8),
    ]
    rates = by_commissioning(found, {"A": 365, "B": 365, "C": 730})
    counted = {state: (one.machines, one.calls, one.years) for state, one in rates.items()}
    assert counted == {"complete": (1, 1, 1), "missing": (1, 2, 1), "failed": (1, 4, 2)}
