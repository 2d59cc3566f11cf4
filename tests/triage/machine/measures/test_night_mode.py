"""Night mode windows: over midnight, against opening hours."""

from __future__ import annotations

from datetime import time
from decimal import Decimal

import pytest

from triage.machine.measures.night_mode import (
    night_mode_hours,
    night_mode_while_open,
)
from triage.values.errors import InputError

SHOP = dict.fromkeys(("mon", "tue", "wed", "thu", "fri", "sat", "sun"), ("06:00", "23:00"))


def test_a_window_over_midnight_is_as_long_as_the_clock_says():
    assert night_mode_hours(time(23, 30), time(5, 0)) == Decimal("5.5")
    assert night_mode_hours(time(1, 0), time(5, 0)) == 4
    assert night_mode_hours(time(0, 0), time(5, 20)) == Decimal("5.33")


def test_the_same_start_and_end_means_that_night_mode_is_not_set():
    assert night_mode_hours(time(2), time(2)) == 0


def test_night_mode_after_closing_lies_outside_the_opening_hours():
    assert night_mode_while_open(time(23), time(6), SHOP) == {}


def test_night_mode_that_reaches_into_the_opening_hours_says_by_how_much_on_which_day():
    late_friday = {**SHOP, "fri": ("06:00", "01:00")}
    assert night_mode_while_open(time(23), time(5), late_friday) == {"fri": Decimal(2)}


def test_sunday_night_reaches_into_monday_morning():
    monday_only = {"mon": ("04:00", "20:00")}
    assert night_mode_while_open(time(23), time(5), monday_only) == {"sun": Decimal(1)}


def test_a_site_that_never_closes_has_its_night_mode_within_opening_hours():
    always = dict.fromkeys(SHOP, ("00:00", "24:00"))
    assert night_mode_while_open(time(1), time(5), always) == dict.fromkeys(SHOP, Decimal(4))


def test_a_closed_site_has_no_opening_hours_to_run_into():
    assert night_mode_while_open(time(8), time(20), {}) == {}


@pytest.mark.parametrize(
    ("opening", "words"),
    [({"monday": ("06:00", "23:00")}, "not a weekday"), ({"mon": ("6", "25:00")}, "not a time of day")],
)
def test_opening_hours_that_cannot_be_read_are_refused(opening, words):
    with pytest.raises(InputError, match=words):
        night_mode_while_open(time(1), time(5), opening)
