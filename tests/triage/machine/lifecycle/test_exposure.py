"""Failure times in days of service."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from triage.machine.lifecycle.trend import Observation, observe
from triage.values.errors import InputError

START = datetime(2026, 1, 1, tzinfo=UTC)


def day(number: float) -> datetime:
    return START + timedelta(days=number)


def test_failures_are_counted_in_days_since_the_start():
    seen = observe([day(30), day(10.5)], START, day(100))
    assert seen == Observation((10.5, 30, 100), 100, failure_terminated=True)


def test_failures_outside_the_observation_are_not_counted():
    assert observe([day(-1), day(0), day(50), day(101)], START, day(100)).times == (50, 100)


def test_the_trouble_that_made_us_look_is_the_last_failure_and_the_end():
    seen = observe([day(40), day(100)], START, day(100))
    assert seen == Observation((40, 100), 100, failure_terminated=True)
    assert seen.free_times == (40,)


def test_a_machine_that_was_never_in_service_gives_no_observation():
    assert observe([], START, START) is None
    assert observe([], START, day(-1)) is None


def test_days_are_of_24_hours_through_a_clock_change():
    zone = ZoneInfo("America/Chicago")
    start, end = datetime(2026, 3, 7, 12, tzinfo=zone), datetime(2026, 3, 9, 12, tzinfo=zone)
    assert observe([], start, end).end == pytest.approx(47 / 24)


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda: Observation((1, 2), 0), "ends at 0"),
        (lambda: Observation((0, 2), 3), "after 0"),
        (lambda: Observation((1, 4), 3), "not after the end"),
        (lambda: Observation((float("nan"),), 3), "after 0"),
        (lambda: Observation((2, 1), 3), "sort them"),
        (lambda: Observation((1, 2), 3, failure_terminated=True), "last failure at the end"),
        (lambda: observe([], datetime(2026, 1, 1), day(10)), "no time zone"),  # noqa: DTZ001
    ],
)
def test_times_that_cannot_be_are_refused(build, words):
    with pytest.raises(InputError, match=words):
        build()
