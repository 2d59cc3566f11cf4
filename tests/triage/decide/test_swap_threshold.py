"""The swap threshold is read from the rules that look at what was spent."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from tests.triage.builders import minimal_rulebook, policy
from tests.triage.services import MACHINES
from triage.decide.computed_facts import value_now
from triage.decide.limits_of_machine import swap_thresholds
from triage.rulebook.model import Rulebook

ON = date(2026, 3, 2)


def rulebook(tests: dict[str, Any], outcome: str = "swap") -> Rulebook:
    rules = {
        f"policy/{name}.yml": policy(
            name,
            {"spent_share_of_value": test, "repairs_12_months": ">= 3"},
            {"spent_share_of_value": 0.65, "repairs_12_months": 3},
            {"spent_share_of_value": 0.1, "repairs_12_months": 3},
            outcome,
            600,
            "Worn out.",
        )
        for name, test in tests.items()
    }
    return minimal_rulebook(rules)


def test_the_lowest_share_of_the_rules_gives_the_amount() -> None:
    found = swap_thresholds(
        rulebook({"worn": "> 0.60", "faster": "[0.40..0.90]"}), MACHINES[0], Decimal(300), ON
    )
    value = value_now(MACHINES[0], ON)
    assert [rule["rule"] for rule in found["rules"]] == ["faster", "worn"]
    assert found["spent_above"] == f"{value * Decimal('0.40'):.2f}"
    assert found["spent_share"] == pytest.approx(float(300 / value), abs=1e-4)


@pytest.mark.parametrize(
    "book",
    [minimal_rulebook(), rulebook({"worn": "> 0.60"}, "dispatch"), rulebook({"worn": "> 0.60"})],
)
def test_there_is_none_without_such_a_rule_or_a_price(book: Rulebook) -> None:
    machine = MACHINES[0] if not book.policy.get("worn") or book.policy["worn"].outcome != "swap" else None
    found = swap_thresholds(book, machine or replace(MACHINES[0], price=None), Decimal(0), ON)
    assert (found["spent_above"], found["rules"]) == (None, [])
