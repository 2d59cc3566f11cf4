"""How a value falls, and visits that repeat one cause."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from triage.machine.lifecycle.value import most_repeated_cause, values_ahead, visits_for
from triage.records.report import PastRepair
from triage.values.errors import InputError
from triage.values.money import Money

NOW = datetime(2026, 6, 1, tzinfo=UTC)


def repair(days_ago: float, cause: str | None) -> PastRepair:
    return PastRepair(NOW - timedelta(days=days_ago), "T-1", cause, Money("100.00", "USD"))


def test_a_value_falls_by_its_share_every_year():
    assert values_ahead(Decimal(1000), 0, Decimal("0.2")) == ()
    assert values_ahead(Decimal(1000), 2, Decimal("0.2")) == (800, 640)


def test_what_cannot_depreciate_is_refused():
    with pytest.raises(InputError, match="from 0 to below 1"):
        values_ahead(Decimal(1000), 1, Decimal(1))
    with pytest.raises(InputError, match="not below 0"):
        values_ahead(Decimal(1000), -1, Decimal("0.2"))


def test_visits_for_one_cause_are_counted_within_the_days():
    repairs = [
        repair(10, "fan_failed"),
        repair(90, "fan_failed"),
        repair(5, "low_fill"),
        repair(-1, "fan_failed"),
    ]
    assert visits_for(repairs, "fan_failed", NOW, 90) == 1  # the window is open at its far end
    assert visits_for(repairs, "fan_failed", NOW, 91) == 2


def test_the_cause_that_came_back_is_named_and_a_single_visit_is_no_repeat():
    repairs = [repair(10, "fan_failed"), repair(20, "low_fill"), repair(30, "low_fill"), repair(3, None)]
    assert most_repeated_cause(repairs, NOW, 90) == ("low_fill", 2)
    assert most_repeated_cause(repairs, NOW, 25) is None
    assert most_repeated_cause([repair(1, None), repair(2, None)], NOW, 90) is None
    assert most_repeated_cause([], NOW, 90) is None


def test_of_causes_that_came_equally_often_the_first_by_name_is_taken():
    repairs = [repair(1, "b"), repair(2, "a"), repair(3, "a"), repair(4, "b")]
    assert most_repeated_cause(repairs, NOW, 90) == ("a", 2)
