"""When a training counts: by the store's own calendar, the newest of those who work there."""

from __future__ import annotations

from datetime import UTC, date, datetime

from triage.records.installs.training import StoreTraining, Training, store_training

LATE = datetime(2026, 1, 2, 3, tzinfo=UTC)  # 10 pm of 1 January in New York


def one(number: int, *topics: str, at: datetime = LATE, left_on: date | None = None) -> Training:
    return Training(number, "halt-001", f"Person {number}", topics, at, "van", "lead", "desk", None, left_on)


def stands(today: date, *trainings: Training) -> StoreTraining:
    return store_training(trainings, ("fill", "clean"), 10, "America/New_York", today)


def test_the_day_is_that_of_the_stores_calendar() -> None:
    both = one(1, "fill", "clean")
    assert stands(date(2026, 1, 11), both).due_on == date(2026, 1, 11)
    assert stands(date(2026, 1, 12), both).missing == ("fill", "clean")


def test_the_topic_that_ends_first_is_the_next_and_the_newest_training_of_a_topic_counts() -> None:
    later = LATE.replace(day=7)
    found = stands(date(2026, 1, 8), one(1, "fill", "clean"), one(2, "fill", at=later))
    assert (found.missing, found.due_on) == ((), date(2026, 1, 11))
    found = stands(date(2026, 1, 12), one(1, "fill", "clean"), one(2, "fill", at=later))
    assert (found.missing, found.due_on) == (("clean",), date(2026, 1, 16))


def test_who_left_counts_no_more() -> None:
    found = stands(date(2026, 1, 3), one(1, "fill", "clean", left_on=date(2026, 1, 3)))
    assert (found.here, len(found.left), found.missing) == ((), 1, ("fill", "clean"))


def test_a_store_without_anybody_is_due_whatever_the_topics() -> None:
    assert store_training((), (), 10, "UTC", date(2026, 1, 3)).standing(date(2026, 1, 3)) == "due"
