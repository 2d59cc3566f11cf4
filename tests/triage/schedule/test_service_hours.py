"""Due times and after-hours, in the site's time zone."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from triage.rulebook.terms import ResponseTime, ServiceHours
from triage.schedule.service_hours import add_service_hours, due_at, is_after_hours, public_holidays
from triage.values.errors import InputError

CHICAGO = "America/Chicago"
WORKDAYS = dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), ("08:00", "17:00"))
PRIORITIES = {
    1: ResponseTime(Decimal(4), "elapsed"),
    2: ResponseTime(Decimal(9), "service"),
    3: ResponseTime(Decimal(27), "service"),
}


def service(week=WORKDAYS, country="US", subdivision=None) -> ServiceHours:
    return ServiceHours(week, country, subdivision, PRIORITIES, 3)


def at(text: str, zone: str = CHICAGO) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone))


def test_an_urgent_report_is_due_after_the_hours_on_the_wall_clock_at_night_too():
    assert due_at(at("2026-03-27T23:00"), 1, service(), CHICAGO) == at("2026-03-28T03:00")


def test_service_hours_stop_at_closing_and_go_on_at_the_next_opening():
    assert due_at(at("2026-03-26T12:00"), 2, service(), CHICAGO) == at("2026-03-27T12:00")
    assert due_at(at("2026-03-27T12:00"), 2, service(), CHICAGO) == at("2026-03-30T12:00")


def test_a_whole_day_of_hours_from_the_opening_is_due_at_closing_not_at_the_next_opening():
    assert due_at(at("2026-03-24T08:00"), 2, service(), CHICAGO) == at("2026-03-24T17:00")
    assert due_at(at("2026-03-24T08:00"), 3, service(), CHICAGO) == at("2026-03-26T17:00")


def test_a_report_outside_the_hours_counts_from_the_next_opening():
    assert due_at(at("2026-03-28T11:00"), 2, service(), CHICAGO) == at("2026-03-30T17:00")
    assert due_at(at("2026-03-24T05:00"), 2, service(), CHICAGO) == at("2026-03-24T17:00")


def test_the_due_time_is_given_and_counted_in_the_zone_of_the_site():
    due = due_at(datetime(2026, 3, 24, 20, 0, tzinfo=UTC), 2, service(), "America/Los_Angeles")
    assert due.isoformat() == "2026-03-25T13:00:00-07:00"


def test_public_holidays_are_closed_and_so_are_the_days_they_are_observed_on():
    # Independence Day 2026 is a Saturday, observed on Friday the 3rd
    assert due_at(at("2026-07-02T17:00"), 2, service(), CHICAGO) == at("2026-07-06T17:00")
    assert is_after_hours(at("2026-07-03T12:00"), service(), CHICAGO)
    assert not is_after_hours(at("2026-07-03T12:00"), service(country=None), CHICAGO)


def test_a_holiday_of_one_subdivision_closes_only_there():
    patriots_day = at("2026-04-20T12:00", "America/New_York")
    assert is_after_hours(patriots_day, service(subdivision="MA"), "America/New_York")
    assert not is_after_hours(patriots_day, service(), "America/New_York")


def test_new_years_day_observed_in_december_belongs_to_the_year_it_falls_in():
    assert date(2021, 12, 31) in public_holidays("US", None, 2021)  # 2022-01-01 was a Saturday


def test_opening_belongs_to_the_service_hours_and_closing_does_not():
    assert is_after_hours(at("2026-03-24T07:59"), service(), CHICAGO)
    assert not is_after_hours(at("2026-03-24T08:00"), service(), CHICAGO)
    assert not is_after_hours(at("2026-03-24T16:59"), service(), CHICAGO)
    assert is_after_hours(at("2026-03-24T17:00"), service(), CHICAGO)


def test_a_shift_over_midnight_belongs_to_the_day_it_began_on():
    hours = service({"fri": ("18:00", "02:00")}, country=None)
    assert not is_after_hours(at("2026-03-28T01:59"), hours, CHICAGO)
    assert is_after_hours(at("2026-03-28T02:00"), hours, CHICAGO)
    assert is_after_hours(at("2026-03-27T01:00"), hours, CHICAGO)
    assert add_service_hours(at("2026-03-28T01:00"), Decimal(2), hours, CHICAGO) == at("2026-04-03T19:00")


def test_a_shift_begun_before_a_holiday_runs_to_its_end():
    hours = service({"wed": ("18:00", "02:00"), "thu": ("18:00", "02:00")})  # Thanksgiving is a Thursday
    assert not is_after_hours(at("2026-11-26T01:00"), hours, CHICAGO)
    assert is_after_hours(at("2026-11-26T19:00"), hours, CHICAGO)


def test_around_the_clock_service_hours_are_elapsed_hours_through_a_clock_change():
    always = service(
        dict.fromkeys(("mon", "tue", "wed", "thu", "fri", "sat", "sun"), ("00:00", "24:00")), None
    )
    for start in (at("2026-03-07T22:00"), at("2026-10-31T22:00"), at("2026-03-08T00:00")):
        assert add_service_hours(start, Decimal(30), always, CHICAGO).astimezone(UTC) == start.astimezone(
            UTC
        ) + timedelta(hours=30)


def test_days_that_overlap_are_not_counted_twice():
    hours = service({"mon": ("08:00", "02:00"), "tue": ("00:00", "12:00")}, country=None)
    assert add_service_hours(at("2026-03-23T08:00"), Decimal(28), hours, CHICAGO) == at("2026-03-24T12:00")


def test_an_opening_time_skipped_by_the_clocks_means_as_much_later():
    hours = service({"sun": ("02:30", "06:00")}, country=None)
    due = add_service_hours(at("2026-03-07T12:00"), Decimal(1), hours, CHICAGO)
    assert due == at("2026-03-08T04:30")  # 02:30 does not exist; the clocks show 03:30


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.integers(0, 60 * 24 * 366), st.integers(0, 6000), st.integers(0, 6000))
def test_adding_in_two_steps_is_adding_at_once_and_never_goes_back(minute, first, second):
    start = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minute)
    part, rest = Decimal(first) / 60, Decimal(second) / 60
    half_way = add_service_hours(start, part, service(), CHICAGO)
    in_steps = add_service_hours(half_way, rest, service(), CHICAGO)
    at_once = add_service_hours(start, Decimal(first + second) / 60, service(), CHICAGO)
    assert in_steps.astimezone(UTC) == at_once.astimezone(UTC)  # in one zone, == would not see the fold
    assert half_way >= start


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.integers(0, 60 * 24 * 366), st.integers(1, 6000))
def test_a_due_time_is_reached_while_the_service_is_on(minute, amount):
    start = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minute)
    due = add_service_hours(start, Decimal(amount) / 60, service(), CHICAGO)
    assert not is_after_hours(due - timedelta(seconds=1), service(), CHICAGO)
    assume(due.hour < 17)
    assert not is_after_hours(due, service(), CHICAGO)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: due_at(at("2026-03-24T08:00"), 9, service(), CHICAGO), "those with one are 1, 2, 3"),
        (lambda: due_at(datetime(2026, 3, 24), 1, service(), CHICAGO), "has no time zone"),  # noqa: DTZ001
        (lambda: due_at(at("2026-03-24T08:00"), 1, service(), "Middle/Nowhere"), "not a time zone"),
        (lambda: due_at(at("2026-03-24T08:00"), 2, service({}), CHICAGO), "no open day in 366 days"),
        (lambda: due_at(at("2026-03-24T08:00"), 2, service(country="ZZ"), CHICAGO), "holidays_country"),
        (lambda: due_at(at("2026-03-24T08:00"), 2, service({"tue": ("8am", "5pm")}), CHICAGO), "time of day"),
        (lambda: add_service_hours(at("2026-03-24T08:00"), Decimal(-1), service(), CHICAGO), "0 to 10000"),
        (lambda: add_service_hours(at("2026-03-24T08:00"), Decimal("NaN"), service(), CHICAGO), "0 to 10000"),
    ],
)
def test_what_cannot_be_used_is_refused_with_words_that_fix(call, words):
    with pytest.raises(InputError, match=words):
        call()


def test_time_running_out_before_the_hours_are_served_is_an_input_error():
    with pytest.raises(InputError, match="no open day"):
        add_service_hours(at("9999-12-30T08:00"), Decimal(40), service(country=None), CHICAGO)
