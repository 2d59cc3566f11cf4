"""Months of warranty are calendar months: a day the last month lacks becomes its last; steps do not add.

Source: Gustavo Niemeyer and others (from memory); dateutil, `relativedelta`, adding months; version 2.9, year
    unknown
Status: computed with dateutil (two of the dates also with pandas DateOffset)
"""

from __future__ import annotations

from datetime import date

import pytest

from triage.decide.spending.warranty import add_months


@pytest.mark.parametrize(
    ("start", "months", "end"),
    [
        ("2024-01-31", 1, "2024-02-29"),
        ("2023-01-31", 1, "2023-02-28"),
        ("2024-02-29", 12, "2025-02-28"),
        ("2024-02-29", 48, "2028-02-29"),
        ("2024-08-31", 6, "2025-02-28"),
        ("2024-01-31", 2, "2024-03-31"),
    ],
)
def test_the_corresponding_day_or_the_last_of_a_shorter_month(start: str, months: int, end: str) -> None:
    assert add_months(date.fromisoformat(start), months) == date.fromisoformat(end)


def test_two_steps_of_one_month_are_not_one_step_of_two() -> None:
    start = date(2024, 1, 31)

    assert add_months(add_months(start, 1), 1) == date(2024, 3, 29)
    assert add_months(start, 2) == date(2024, 3, 31)
