"""Night mode windows: over midnight, on clock changes, against opening hours."""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.measures.night_mode import (
    AROUND_THE_CLOCK,
    night_mode_hours,
    night_mode_hours_on,
    night_mode_outside_opening,
    night_mode_while_open,
)
from triage.values.errors import InputError

CHICAGO = "America/Chicago"
SHOP = dict.fromkeys(("mon", "tue", "wed", "thu", "fri", "sat", "sun"), ("06:00", "23:00"))
TIMES = st.builds(time, st.integers(0, 23), st.integers(0, 59))


def test_a_window_over_midnight_is_as_long_as_the_clock_says():
    assert night_mode_hours(time(23, 30), time(5, 0)) == Decimal("5.5")
    assert night_mode_hours(time(1, 0), time(5, 0)) == 4
    assert night_mode_hours(time(0, 0), time(5, 20)) == Decimal("5.33")


def test_the_same_start_and_end_means_that_night_mode_is_not_set():
    assert night_mode_hours(time(2), time(2)) == 0
    assert night_mode_hours_on(date(2026, 3, 7), time(2), time(2), CHICAGO) == 0


def test_the_night_the_clocks_change_is_an_hour_shorter_or_longer():
    assert night_mode_hours_on(date(2026, 3, 7), time(23), time(5), CHICAGO) == 5
    assert night_mode_hours_on(date(2026, 10, 31), time(23), time(5), CHICAGO) == 7
    assert night_mode_hours_on(date(2026, 6, 1), time(23), time(5), CHICAGO) == 6


def test_a_window_of_four_hours_falls_short_on_the_night_the_clocks_go_forward():
    assert night_mode_hours_on(date(2026, 3, 8), time(1), time(5), CHICAGO) == 3


def test_a_window_in_the_skipped_hour_moves_an_hour_later_and_never_has_a_negative_length():
    assert night_mode_hours_on(date(2026, 3, 8), time(2, 15), time(2, 45), CHICAGO) == Decimal("0.5")
    assert night_mode_hours_on(date(2026, 3, 8), time(2, 30), time(3, 0), CHICAGO) == 0


def test_night_mode_after_closing_lies_outside_the_opening_hours():
    assert night_mode_outside_opening(time(23), time(6), SHOP)
    assert night_mode_while_open(time(23), time(6), SHOP) == {}


def test_night_mode_that_reaches_into_the_opening_hours_says_by_how_much_on_which_day():
    late_friday = {**SHOP, "fri": ("06:00", "01:00")}
    assert night_mode_while_open(time(23), time(5), late_friday) == {"fri": Decimal(2)}
    assert not night_mode_outside_opening(time(23), time(5), late_friday)


def test_sunday_night_reaches_into_monday_morning():
    monday_only = {"mon": ("04:00", "20:00")}
    assert night_mode_while_open(time(23), time(5), monday_only) == {"sun": Decimal(1)}


def test_a_site_that_never_closes_has_its_night_mode_within_opening_hours():
    assert night_mode_while_open(time(1), time(5), AROUND_THE_CLOCK) == dict.fromkeys(SHOP, Decimal(4))


def test_a_closed_site_has_no_opening_hours_to_run_into():
    assert night_mode_outside_opening(time(8), time(20), {})


@settings(deadline=None, derandomize=True, max_examples=40)
@given(TIMES, TIMES)
def test_on_an_ordinary_night_the_real_hours_are_those_of_the_clock(start, end):
    assert night_mode_hours_on(date(2026, 6, 1), start, end, CHICAGO) == night_mode_hours(start, end)


@pytest.mark.parametrize(
    ("opening", "words"),
    [({"monday": ("06:00", "23:00")}, "not a weekday"), ({"mon": ("6", "25:00")}, "not a time of day")],
)
def test_opening_hours_that_cannot_be_read_are_refused(opening, words):
    with pytest.raises(InputError, match=words):
        night_mode_outside_opening(time(1), time(5), opening)
