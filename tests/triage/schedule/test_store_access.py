"""Somebody is due when the store lets somebody in."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from tests.triage.services import ALDER
from triage.schedule.service_hours import check_access, due_within_access, lets_in
from triage.values.errors import InputError

DAYTIME = replace(ALDER, access_from="07:00", access_until="21:00")
NIGHTS = replace(ALDER, access_from="22:00", access_until="04:00")


def at(text: str) -> datetime:
    return datetime.fromisoformat(f"{text}:00-05:00")


def test_a_site_without_access_hours_lets_in_at_any_time() -> None:
    assert lets_in(ALDER, at("2026-03-03T03:00"))
    assert due_within_access(at("2026-03-03T03:00"), at("2026-03-02T23:00"), ALDER) == at("2026-03-03T03:00")
    assert due_within_access(at("2026-03-03T03:00"), at("2026-03-02T23:00"), None) == at("2026-03-03T03:00")


def test_both_ends_of_the_window_are_inside() -> None:
    assert lets_in(DAYTIME, at("2026-03-03T07:00"))
    assert lets_in(DAYTIME, at("2026-03-03T21:00"))
    assert not lets_in(DAYTIME, at("2026-03-03T06:59"))
    assert not lets_in(DAYTIME, at("2026-03-03T21:01"))


def test_a_window_may_reach_past_midnight() -> None:
    assert lets_in(NIGHTS, at("2026-03-03T03:00"))
    assert lets_in(NIGHTS, at("2026-03-03T23:00"))
    assert not lets_in(NIGHTS, at("2026-03-03T12:00"))


def test_a_due_time_at_night_is_the_last_moment_of_the_evening_before() -> None:
    due = due_within_access(at("2026-03-02T23:30"), at("2026-03-02T19:30"), DAYTIME)
    assert due == at("2026-03-02T21:00")


def test_where_the_store_was_shut_all_the_while_it_is_the_next_opening() -> None:
    due = due_within_access(at("2026-03-03T02:00"), at("2026-03-02T22:00"), DAYTIME)
    assert due == at("2026-03-03T07:00")


def test_the_window_keeps_its_wall_clock_times_when_the_clocks_change() -> None:
    """On 8 March 2026 New York goes from -05:00 to -04:00."""
    due = due_within_access(
        datetime(2026, 3, 8, 7, 30, tzinfo=UTC), datetime(2026, 3, 8, 3, 30, tzinfo=UTC), DAYTIME
    )
    assert due == datetime(2026, 3, 8, 11, tzinfo=UTC)  # 07:00 at -04:00


@pytest.mark.parametrize(
    ("access_from", "access_until"), [("07:00", ""), ("", "21:00"), ("7", "21:00"), ("07:00", "07:00")]
)
def test_half_a_window_or_no_time_of_day_is_refused(access_from: str, access_until: str) -> None:
    with pytest.raises(InputError):
        check_access(access_from, access_until)
