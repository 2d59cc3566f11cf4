"""Who comes, and when."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal

from tests.triage.services import ALDER
from triage.rulebook.terms import ResponseTime, ServiceHours
from triage.schedule.contractors import Contractor, Job, assign, free_times, next_free, why_not

HOURS = ServiceHours(
    dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), ("08:00", "17:00")),
    "US",
    None,
    {3: ResponseTime(Decimal(27), "service")},
    3,
)
EVERYTHING = frozenset({"general", "electrical", "refrigeration"})
BAY = Contractor("bay", "Bay", "", frozenset({"America/New_York"}), EVERYTHING, "Universal", 2)
FOG = Contractor("fog", "Fog", "", frozenset({"America/New_York"}), EVERYTHING, "Type I", 1)


def at(text: str) -> datetime:
    return datetime.fromisoformat(f"{text}:00-05:00")


MONDAY = at("2026-03-02T12:00")


def job(**changes: object) -> Job:
    return replace(Job(ALDER, "general", MONDAY, at("2026-03-05T12:00"), False), **changes)  # type: ignore[arg-type]


def test_region_skill_and_certificate_decide_who_can_come() -> None:
    assert why_not(BAY, ALDER, "refrigeration") is None
    assert why_not(replace(BAY, certificate=""), ALDER, "refrigeration") is not None
    assert why_not(replace(BAY, certificate=""), ALDER, "general") is None
    assert why_not(replace(BAY, skills=frozenset({"general"})), ALDER, "electrical") is not None
    assert why_not(replace(BAY, serves=frozenset({"America/Chicago"})), ALDER, "general") is not None
    assert why_not(replace(BAY, serves=frozenset({"halt-001"})), ALDER, "general") is None
    assert (
        why_not(Contractor("new", "New"), ALDER, "electrical") is None
    )  # what is not said does not restrict


def test_the_usual_contractor_comes_while_it_is_in_time() -> None:
    full_today = {("fog", date(2026, 3, 2)): 1}
    slot = assign([BAY, FOG], job(), full_today, HOURS, "fog")
    assert slot is not None
    assert (slot.contractor, slot.at) == ("fog", at("2026-03-03T08:00"))


def test_another_comes_where_the_usual_one_would_be_late() -> None:
    full = {("fog", date(2026, 3, day)): 1 for day in (2, 3, 4, 5)}
    slot = assign([BAY, FOG], job(), full, HOURS, "fog")
    assert slot is not None
    assert (slot.contractor, slot.at) == ("bay", MONDAY)


def test_where_all_are_late_the_soonest_comes() -> None:
    due = at("2026-03-02T13:00")
    full = {("fog", date(2026, 3, 2)): 1, ("bay", date(2026, 3, 2)): 2, ("fog", date(2026, 3, 3)): 1}
    slot = assign([BAY, FOG], job(due=due), full, HOURS, "fog")
    assert slot is not None
    assert (slot.contractor, slot.at) == ("bay", at("2026-03-03T08:00"))


def test_a_certificate_outweighs_being_the_usual_contractor() -> None:
    slot = assign([BAY, replace(FOG, certificate="")], job(skill="refrigeration"), {}, HOURS, "fog")
    assert slot is not None
    assert slot.contractor == "bay"


def test_the_next_free_moment_lies_in_the_service_hours_and_the_access_hours() -> None:
    late_opening = replace(ALDER, access_from="10:30", access_until="12:00")
    friday_afternoon = job(site=late_opening, start=at("2026-03-06T13:00"))
    slot = next_free(BAY, friday_afternoon, {}, HOURS)
    assert slot is not None
    assert slot.at == datetime.fromisoformat("2026-03-09T10:30:00-04:00")  # the clocks changed on Sunday


def test_danger_does_not_wait_for_the_service_hours() -> None:
    sunday = at("2026-03-01T03:00")
    slot = next_free(BAY, job(start=sunday, around_the_clock=True), {}, HOURS)
    assert slot is not None
    assert slot.at == sunday


def test_nobody_is_found_where_nobody_can_come() -> None:
    assert assign([replace(BAY, certificate="")], job(skill="refrigeration"), {}, HOURS, "bay") is None
    nights = replace(ALDER, access_from="20:00", access_until="23:00")
    assert assign([BAY], job(site=nights), {}, HOURS, "bay") is None


def offered(contractors: list[Contractor], full: dict[tuple[str, date], int], days: int) -> list[str]:
    slots = free_times(contractors, job(), full, HOURS, "fog", days)
    return [f"{slot.contractor} {slot.at:%a %H}" for slot in slots]


def test_times_are_offered_every_two_hours_on_days_with_room() -> None:
    full = {("fog", date(2026, 3, 2)): 1, ("bay", date(2026, 3, 3)): 2, ("fog", date(2026, 3, 3)): 1}
    monday = ["bay Mon 14", "bay Mon 16"]  # fog is full, and noon is now
    wednesday = [f"fog Wed {hour}" for hour in ("08", "10", "12", "14", "16")]
    assert offered([BAY, FOG], full, 2) == [*monday, *wednesday]


def test_nobody_who_can_come_means_no_times() -> None:
    assert offered([], {}, 3) == []
    assert offered([replace(BAY, skills=frozenset({"electrical"}))], {}, 3) == []
