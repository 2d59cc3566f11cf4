"""What keeping a machine costs, by its visits at today's prices and the sales lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from tests.triage.builders import cause, minimal_rulebook
from tests.triage.payloads import usd
from tests.triage.services import MACHINES
from triage.decide.computed_facts import priced_now
from triage.decide.spending.costs import repair_estimates
from triage.decide.spending.repair_costs import sales_lost
from triage.machine.lifecycle.life_numbers import life_numbers
from triage.records.report import History, PastRepair

NOW = datetime(2026, 3, 2, 17, tzinfo=UTC)
RULEBOOK = minimal_rulebook()
FAULT = "compressor_fault"
OLD = replace(
    MACHINES[0], shipped_on=date(2020, 1, 5), commissioned_on=date(2020, 2, 1), price=usd("4000.00")
)
YOUNG = MACHINES[0]  # in warranty since 1 February 2025
LOST = sales_lost(RULEBOOK, FAULT)


def past(days_ago: Sequence[int], cost: str, found: str | None = FAULT) -> tuple[PastRepair, ...]:
    return tuple(PastRepair(NOW - timedelta(days=each), f"R-{each}", found, usd(cost)) for each in days_ago)


def keeping(repairs: tuple[PastRepair, ...], machine: object = OLD) -> Decimal:
    assert isinstance(machine, type(OLD))
    history = History(repairs=tuple(sorted(repairs, key=lambda one: one.at)))
    found = life_numbers(
        machine,
        priced_now(RULEBOOK, machine, history, NOW),
        NOW,
        value_now=Decimal(1600),
        repair_now=Decimal(250),
        swap_cost=Decimal(600),
    )
    assert found is not None
    return found.choice.keep.annual_cost


def test_visits_without_a_fault_never_make_keeping_cheaper() -> None:
    faults = past(range(50, 1850, 300), "480.00")
    assert keeping(faults + past(range(40, 840, 100), "95.00", None)) > keeping(faults)
    assert keeping(faults + past(range(40, 840, 100), "0.00", None)) >= keeping(faults)


def test_what_warranty_paid_costs_what_it_would_now() -> None:
    typical = repair_estimates(RULEBOOK, (FAULT,), NOW.date(), "fogline", False, 42)[FAULT].total
    (visit,) = priced_now(RULEBOOK, YOUNG, History(repairs=past([100], "0.00")), NOW)
    assert (visit.failure, visit.cost) == (True, typical + LOST)
    (dearer,) = priced_now(RULEBOOK, YOUNG, History(repairs=past([100], "9000.00")), NOW)
    assert dearer.cost == 9000 + LOST
    (own,) = priced_now(RULEBOOK, OLD, History(repairs=past([100], "12.00")), NOW)
    assert own.cost == 12 + LOST  # out of warranty: what it cost
    (in_vain,) = priced_now(RULEBOOK, YOUNG, History(repairs=past([100], "95.00", None)), NOW)
    assert (in_vain.failure, in_vain.cost) == (False, 95)


def test_warranty_does_not_make_a_machine_cheaper_to_keep() -> None:
    days = range(30, 390, 60)
    typical = str(repair_estimates(RULEBOOK, (FAULT,), NOW.date(), "fogline", False, 42)[FAULT].total)
    assert keeping(past(days, "0.00"), YOUNG) == keeping(past(days, typical), YOUNG)


@pytest.mark.parametrize(
    ("share", "sides", "lost"),
    [
        ("0", None, "0"),
        ("0", "both", "0"),
        ("0", "all", "1"),
        ("0.5", None, "0.5"),
        ("0.5", "one", "0.5"),
        ("0.5", "both", "1"),
        ("1", None, "1"),
        ("1", "both", "1"),
        ("1", "one", "0.5"),
        ("0.5", "all", "1"),
    ],
)
def test_sales_are_lost_by_cause_and_side(share: str, sides: str | None, lost: str) -> None:
    store = RULEBOOK.rates.store
    whole = store.days_to_visit * store.open_hours_a_day * store.lost_sales_hour
    book = minimal_rulebook({"causes/lamp.yml": {**cause("lamp"), "sales_lost": Decimal(share)}})
    assert whole > 0
    assert sales_lost(book, "lamp", sides) == whole * Decimal(lost)
