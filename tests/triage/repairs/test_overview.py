"""A period at a glance: what is usual, who stands out, what was saved; small programs counted by hand."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest
from scipy import stats

from triage.repairs.overview import (
    WOULD_HAVE_SENT,
    Scored,
    reliability,
    saved,
    scored,
    waited,
)
from triage.repairs.period import Period, Sums, Tally
from triage.repairs.statistics import (
    TOO_FEW,
    false_alarms,
    funnel_limits,
    mean_within,
    ratio_within,
    still_waiting,
    wilson,
)
from triage.repairs.weeks import KeyNumber, key_numbers, last_week, month_of, neighbor, periods_to, week_of

NOW = datetime(2026, 6, 3, 12, tzinfo=UTC)  # a Wednesday
SPAN = Period(date(2026, 3, 2), date(2026, 5, 31))


def test_the_last_week_that_is_over_and_twelve_before_it() -> None:
    weeks = periods_to(last_week(NOW))
    assert (weeks[-1].first, weeks[-1].last) == (date(2026, 5, 25), date(2026, 5, 31))
    assert (len(weeks), weeks[0].first) == (13, date(2026, 3, 2))
    assert week_of(date(2026, 6, 3)).first == date(2026, 6, 1)


def test_whole_months_are_held_against_whole_months() -> None:
    months = periods_to(month_of(date(2026, 2, 14)))
    assert (months[-1].first, months[-1].last) == (date(2026, 2, 1), date(2026, 2, 28))
    assert months[0] == Period(date(2025, 2, 1), date(2025, 2, 28))
    year = Period(date(2025, 1, 1), date(2025, 12, 31))
    assert neighbor(year, -1) == Period(date(2024, 1, 1), date(2024, 12, 31))
    assert neighbor(Period(date(2026, 3, 1), date(2026, 3, 10)), 1).first == date(2026, 3, 11)


def test_periods_end_where_the_calendar_does() -> None:
    assert len(periods_to(Period(date(1, 1, 8), date(1, 1, 14)))) == 2
    with pytest.raises(ValueError, match=r"day|year"):
        neighbor(month_of(date(9999, 12, 1)), 1)


def test_the_scores_of_a_period_are_means_and_of_too_few_nothing_is_said() -> None:
    week = week_of(NOW.date())
    assert scored(week, Sums(scored=40, log_loss=30, brier=10)) == Scored(week, 0.75, 0.25, 40)
    few = TOO_FEW - 1
    assert scored(week, Sums(scored=few, log_loss=30, brier=10)) == Scored(week, None, None, few)


def counted(*opened: int) -> KeyNumber:
    return key_numbers([Sums(opened=one) for one in opened], [None] * len(opened))[0]


def test_a_period_unlike_the_others_is_said_to_be() -> None:
    steady = [4 + week % 2 for week in range(12)]
    usual, many = counted(*steady, 5), counted(*steady, 20)
    assert (usual.name, usual.now, usual.unusual) == ("opened", 5, False)
    assert (many.now, many.unusual) == (20, True)
    # Weeks of 4 and 5 in turn: 4.5 ± 3 × 1 / 1.128.
    assert usual.usual == pytest.approx((4.5 - 3 / 1.128, 4.5 + 3 / 1.128))


def test_of_too_few_nothing_is_said() -> None:
    share = key_numbers([Sums(closed=1, in_store=1)], [2.0])[1]
    assert (share.name, share.of, share.too_few, share.unusual) == ("cured_in_store", 1, True, False)


def test_each_number_is_of_its_kind() -> None:
    assert [(one.name, one.kind) for one in key_numbers([Sums()], [None])] == [
        ("opened", "count"),
        ("cured_in_store", "share"),
        ("first_visit_fix", "share"),
        ("hours_to_close", "hours"),
        ("spend_closed", "money"),
        ("repeats", "share"),
    ]


@pytest.mark.parametrize("of", range(1, 60))
def test_none_and_all_are_exact_bounds_of_their_interval(of: int) -> None:
    assert (wilson(0, of)[0], wilson(of, of)[1]) == (0.0, 1.0)


def test_the_funnel_meets_the_binomial_and_narrows_to_the_normal() -> None:
    # By hand for 4 of share 1/2 at .9: P(≤2) = 11/16, P(≤3) = 15/16; 3 − (15/16 − .9) / (4/16) = 2.85.
    assert funnel_limits(0.5, [4], 0.9) == pytest.approx([2.85 / 4])
    wide = 0.2 + float(stats.norm.ppf(0.975)) * (0.2 * 0.8 / 100_000) ** 0.5
    assert funnel_limits(0.2, [100_000], 0.975) == pytest.approx([wide], abs=1e-4)
    assert funnel_limits(1.0, [3, 4], 0.975).tolist() == [1, 1]


def test_waiting_is_told_by_the_first_decision_with_open_tickets_in_it() -> None:
    tallies = {f"store|closed|{hours}.0": Tally(1) for hours in range(1, 10)}
    opened = NOW - timedelta(hours=200)
    (group,) = waited(tallies, [(opened.date(), f"store|open|{opened.hour}", 1)], NOW)
    assert (group.title, group.reports, group.median, group.p90) == ("store", 10, 5, 9)
    assert group.shares[-1] == pytest.approx(0.1)


def test_the_curve_is_that_of_scipy() -> None:
    random = np.random.default_rng(7)
    ended, waiting = random.integers(1, 30, 80).tolist(), random.integers(1, 30, 40).tolist()
    hours, shares = still_waiting(Counter(ended), Counter(waiting))
    seen = stats.ecdf(stats.CensoredData(uncensored=ended, right=waiting)).sf
    ours = dict(zip(hours.tolist(), shares.tolist(), strict=True))
    wanted = dict(zip(seen.quantiles.tolist(), seen.probabilities.tolist(), strict=True))
    assert {hour: ours[hour] for hour in wanted} == pytest.approx(wanted)


def test_chances_are_held_against_what_was_confirmed() -> None:
    (tenth,) = reliability({"8|hit": Tally(8, 8 * 0.85), "8|miss": Tally(2, 2 * 0.81)})
    assert (tenth.of, tenth.share) == (10, 0.8)
    assert tenth.chance == pytest.approx(0.842)
    assert tenth.low < 0.8 < tenth.high


def test_what_was_saved_is_a_range_with_its_assumptions() -> None:
    costs = Tally()
    for number in range(11):
        costs.add(100 + 20 * number)
    found = saved(Sums(in_store=4, on_machine=40, repeats=10), costs)
    assert found is not None
    # Costs of 100, 120 … 300: mean 200, standard error 20 × sqrt(11) / sqrt(11) = 20.
    away = 1.959964 * 20
    seldom, often = wilson(10, 40)
    assert (found.fixed, found.avoided, found.visits, found.mean) == (4, (1, 3), 11, 200)
    assert float(found.low) == pytest.approx(4 * WOULD_HAVE_SENT[0] * (1 - often) * (200 - away), abs=1)
    assert float(found.high) == pytest.approx(4 * WOULD_HAVE_SENT[1] * (1 - seldom) * (200 + away), abs=1)
    assert found.mean == Decimal(200)
    assert saved(Sums(in_store=4), Tally()) is None


def test_the_interval_of_a_mean_is_that_of_scipy() -> None:
    values = np.array([3.0, 5.5, 9.25, 1.0])
    low, high = stats.norm.interval(0.95, values.mean(), stats.sem(values))
    found = mean_within(4, float(values.sum()), float((values * values).sum()))
    assert found == pytest.approx((values.mean(), low, high))


def test_limits_of_a_funnel_and_of_a_ratio_are_those_of_scipy_stats() -> None:
    counts = np.array([1, 2, 5, 10, 37, 400, 5000, 200_000])
    for share in (0.001, 0.02, 0.2, 0.5, 0.93, 0.9999):
        for level in (0.5, 0.9, 0.975, 0.998):
            places = stats.binom(counts, share)
            reached = places.ppf(level)
            above, below = places.cdf(reached), places.cdf(reached - 1)
            limits = np.clip((reached - (above - level) / (above - below)) / counts, 0, 1)
            assert funnel_limits(share, counts.tolist(), level) == pytest.approx(limits, abs=1e-9)
    for count, other in ((0, 5), (1, 1), (7, 90), (5000, 4000)):
        share = stats.binomtest(count, count + other).proportion_ci(0.95, "exact")
        bounds = (share.low / (1 - share.low), share.high / (1 - share.high))
        assert ratio_within(count, 2.0, other, 3.0)[1:] == pytest.approx([1.5 * one for one in bounds])


@pytest.mark.parametrize("z", [[2.0], [-3.0, 0.1, 0.1, 4.2], [1.7, 1.6, 1.9, -0.2, 3.3, 3.3, 0.0]])
def test_false_alarms_are_those_of_scipy_stats(z: list[float]) -> None:
    wanted = stats.false_discovery_control(stats.norm.sf(z))
    assert false_alarms(np.array(z)) == pytest.approx(wanted)
