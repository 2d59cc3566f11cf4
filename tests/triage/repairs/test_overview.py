"""The week at a glance: what is usual, who stands out, what was saved; small programs counted by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from scipy import stats

from tests.triage.services import rulebook_files
from triage.repairs.overview import WOULD_HAVE_SENT, Overview, overview
from triage.repairs.period import Closing, OpenedTicket, Recorded
from triage.repairs.statistics import funnel_limit
from triage.repairs.weeks import months_to, period_of, weeks_to, whole
from triage.rulebook.reading.reader import rulebook_from_data

RULEBOOK = rulebook_from_data(rulebook_files())
NOW = datetime(2026, 6, 3, 12, tzinfo=UTC)  # a Wednesday
WEEKS = weeks_to(NOW)
LAST = WEEKS[-1].since


def opened(number: int, at: datetime, machine: str = "A", site: str = "one", **more: object) -> OpenedTicket:
    told = {"first_outcome": "dispatch", "last_outcome": "dispatch", **more}
    return OpenedTicket(f"T-{number}", at, machine, None, ("leaking",), site=site, **told)  # type: ignore[arg-type]


def closing(number: int, at: datetime, machine: str = "A", **more: object) -> Closing:
    told: dict[str, object] = {
        "cause": "worn",
        "cured_by": "repair",
        "visited": True,
        "cost": Decimal(200),
        **more,
    }
    return Closing(
        f"T-{number}",
        9,
        at,
        at - timedelta(hours=2),
        machine,
        None,
        stands=True,
        **told,  # type: ignore[arg-type]
    )


def looked_at(*tickets: OpenedTicket, closings: tuple[Closing, ...] = ()) -> Overview:
    machines = {ticket.machine: date(2020, 1, 1) for ticket in tickets if ticket.machine}
    return overview(Recorded(opened=tickets, closings=closings), machines, RULEBOOK, WEEKS, NOW)


def test_the_last_week_that_is_over_and_twelve_before_it() -> None:
    assert (WEEKS[-1].first, WEEKS[-1].last) == (date(2026, 5, 25), date(2026, 5, 31))
    assert len(WEEKS) == 13
    assert whole(WEEKS).first == date(2026, 3, 2)
    assert weeks_to(NOW, date(2026, 6, 3))[-1].first == date(2026, 6, 1)


def test_months_are_whole_ones() -> None:
    months = months_to(date(2026, 2, 14))
    assert (months[-1].first, months[-1].last) == (date(2026, 2, 1), date(2026, 2, 28))
    assert months[0].first == date(2025, 2, 1)


def test_a_week_unlike_the_others_is_said_to_be() -> None:
    steady = [
        opened(10 * week + one, WEEKS[week].since + timedelta(hours=one), machine=f"M{week}-{one}")
        for week in range(12)
        for one in range(4 + week % 2)
    ]
    usual = looked_at(*steady, *(opened(900 + one, LAST, machine=f"L{one}") for one in range(5))).numbers[0]
    many = looked_at(*steady, *(opened(900 + one, LAST, machine=f"L{one}") for one in range(20))).numbers[0]
    assert (usual.name, usual.now, usual.unusual) == ("opened", 5, False)
    assert (many.now, many.unusual) == (20, True)
    # Weeks of 4 and 5 in turn: 4.5 ± 3 × 1 / 1.128.
    assert usual.usual == pytest.approx((4.5 - 3 / 1.128, 4.5 + 3 / 1.128))


def test_of_too_few_nothing_is_said() -> None:
    share = looked_at(opened(1, LAST), closings=(closing(1, LAST + timedelta(hours=2)),)).numbers[1]
    assert (share.name, share.of, share.too_few, share.unusual) == ("cured_in_store", 1, True, False)


def test_a_store_with_more_repeats_than_chance_stands_out() -> None:
    day = timedelta(days=1)
    calm = [opened(one, WEEKS[2].since, machine=f"C{one}", site="calm") for one in range(20)]
    again = [opened(100 + one, WEEKS[3].since + one * day, machine="B", site="again") for one in range(6)]
    done = tuple(closing(100 + one, WEEKS[3].since + one * day + timedelta(hours=3), "B") for one in range(6))
    found = looked_at(*calm, *again, closings=done)
    assert found.repeat_share == pytest.approx(5 / 26)
    assert [(one.site, one.reports, one.repeats) for one in found.places] == [
        ("again", 6, 5),
        ("calm", 20, 0),
    ]
    assert [one.share > one.limit for one in found.places] == [True, False]


def test_the_funnel_meets_the_binomial_and_narrows_to_the_normal() -> None:
    # By hand for 4 of share 1/2 at .9: P(≤2) = 11/16, P(≤3) = 15/16; 3 − (15/16 − .9) / (4/16) = 2.85.
    assert funnel_limit(0.5, 4, 0.9) == pytest.approx(2.85 / 4)
    wide = 0.2 + float(stats.norm.ppf(0.975)) * (0.2 * 0.8 / 100_000) ** 0.5
    assert funnel_limit(0.2, 100_000, 0.975) == pytest.approx(wide, abs=1e-4)


def test_a_machine_that_calls_often_is_drawn_towards_its_fleet() -> None:
    quiet = [opened(one, WEEKS[one % 12].since, machine=f"Q{one}") for one in range(30)]
    loud = [opened(500 + one, WEEKS[one % 12].since, machine="LOUD") for one in range(15)]
    first = looked_at(*quiet, *loud).often_down[0]
    assert (first.machine, first.calls) == ("LOUD", 15)
    assert 1.2 < first.rate < first.calls / first.expected


def test_waiting_is_told_by_the_first_decision_with_open_tickets_in_it() -> None:
    at = WEEKS[5].since
    closed = [
        opened(one, at, first_outcome="fix_in_store", closed_at=at + timedelta(hours=1 + one))
        for one in range(9)
    ]
    still = [opened(50, at, first_outcome="fix_in_store")]
    (group,) = looked_at(*closed, *still).waited
    assert (group.title, group.reports, group.median, group.p90) == ("fix_in_store", 10, 5, 9)
    assert group.shares[-1] == pytest.approx(0.1)


def test_chances_are_held_against_what_was_confirmed() -> None:
    at = WEEKS[5].since
    sure = [closing(one, at, top_cause="worn", top_chance=0.85) for one in range(8)]
    wrong = [closing(10 + one, at, top_cause="other", top_chance=0.81) for one in range(2)]
    (tenth,) = looked_at(opened(1, at), closings=(*sure, *wrong)).reliability
    assert (tenth.of, tenth.share) == (10, 0.8)
    assert tenth.chance == pytest.approx(0.842)
    assert tenth.low < 0.8 < tenth.high


def test_what_was_saved_is_a_range_with_its_assumptions() -> None:
    at = WEEKS[5].since
    visits = [closing(one, at, cost=Decimal(100 + 20 * one)) for one in range(11)]
    fixed = [closing(50 + one, at, visited=False, cured_by="rinse", cost=Decimal(0)) for one in range(4)]
    saved = looked_at(opened(1, at), closings=(*visits, *fixed)).saved
    assert saved is not None
    # Costs of 100, 120 … 300: mean 200, standard error 20 × sqrt(11) / sqrt(11) = 20.
    away = 1.959964 * 20
    assert (saved.fixed, saved.visits, saved.mean) == (4, 11, 200)
    assert float(saved.low) == pytest.approx(4 * WOULD_HAVE_SENT[0] * (200 - away), abs=1)
    assert float(saved.high) == pytest.approx(4 * WOULD_HAVE_SENT[1] * (200 + away), abs=1)
    assert looked_at(opened(1, at), closings=tuple(fixed)).saved is None


def test_days_outside_count_nothing() -> None:
    before = period_of(date(2026, 1, 1), date(2026, 1, 31))
    assert not before.holds(LAST)
    assert looked_at().numbers[0].now == 0
