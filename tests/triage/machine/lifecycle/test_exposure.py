"""Failure times in days of service."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.lifecycle.exposure import Observation, observe
from triage.values.errors import InputError

START = datetime(2026, 1, 1, tzinfo=UTC)


def day(number: float) -> datetime:
    return START + timedelta(days=number)


def test_failures_are_counted_in_days_since_the_start():
    assert observe([day(30), day(10.5)], START, day(100)) == Observation((10.5, 30), 100)


def test_time_out_of_service_is_no_exposure():
    seen = observe([day(10), day(60)], START, day(100), idle=[(day(20), day(50)), (day(90), day(120))])
    assert seen == Observation((10, 30), 60)


def test_overlapping_times_out_of_service_are_taken_off_once():
    idle = [(day(20), day(40)), (day(30), day(50)), (day(35), day(36)), (day(-5), day(5))]
    assert observe([day(60)], START, day(100), idle=idle) == Observation((25,), 65)


def test_a_failure_found_while_out_of_service_counts_where_service_ended():
    assert observe([day(30)], START, day(100), idle=[(day(20), day(50))]) == Observation((20,), 70)


def test_failures_outside_the_observation_are_not_counted():
    assert observe([day(-1), day(0), day(50), day(101)], START, day(100)) == Observation((50,), 100)


def test_the_trouble_that_made_us_look_is_the_last_failure_and_the_end():
    seen = observe([day(40), day(100)], START, day(100), ended_by_failure=True)
    assert seen == Observation((40, 100), 100, failure_terminated=True)
    assert seen.free_times == (40,)


def test_a_machine_that_was_never_in_service_gives_no_observation():
    assert observe([], START, START) is None
    assert observe([], START, day(10), idle=[(day(-1), day(11))]) is None


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
        (lambda: observe([], START, day(10), idle=[(day(5), day(4))]), "ends .* before it starts"),
        (lambda: observe([], datetime(2026, 1, 1), day(10)), "no time zone"),  # noqa: DTZ001
    ],
)
def test_times_that_cannot_be_are_refused(build, words):
    with pytest.raises(InputError, match=words):
        build()


HOURS = st.integers(0, 2400)


@settings(deadline=None, derandomize=True, max_examples=80)
@given(st.lists(HOURS, max_size=6), st.lists(st.tuples(HOURS, HOURS), max_size=4), st.booleans())
def test_exposure_is_what_counting_every_hour_gives(failures, pauses, ended):
    idle = [tuple(sorted(pause)) for pause in pauses]
    in_service = [not any(first <= hour < last for first, last in idle) for hour in range(2400)]
    moments = [START + timedelta(hours=hour) for hour in failures]
    pauses_at = [(START + timedelta(hours=one), START + timedelta(hours=two)) for one, two in idle]
    seen = observe(moments, START, day(100), idle=pauses_at, ended_by_failure=ended)
    if not any(in_service):
        assert seen is None
        return
    assert seen.end == pytest.approx(sum(in_service) / 24)
    counted = sorted(sum(in_service[:hour]) / 24 for hour in failures if not (ended and hour == 2400))
    expected = [time for time in counted if time > 0] + ([seen.end] if ended else [])
    assert list(seen.times) == pytest.approx(expected)
