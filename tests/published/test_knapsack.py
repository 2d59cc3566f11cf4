"""Three items for a knapsack: the best choice, where taking them by value over weight goes wrong.

Source: textbook example of the 0-1 knapsack problem; author, title and year unknown; values 60, 100, 120
Status: from memory (the example; its answer recomputed by trying all eight choices)
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from triage.decide.parts_kit import Load, Need, Van, best_kit

VALUES = {"A": 60, "B": 100, "C": 120}
WEIGHTS = {"A": 10, "B": 20, "C": 30}


def test_the_best_choice_is_worth_220_and_not_the_160_of_the_greedy_one():
    needs = [Need(value / 1000, {item: 1}) for item, value in VALUES.items()]
    loads = {item: Load(Decimal(weight), Decimal(0)) for item, weight in WEIGHTS.items()}
    kit = best_kit(needs, loads, Van(kg=Decimal(50)))
    assert kit.parts == {"B": 1, "C": 1}
    assert kit.chance * 1000 == pytest.approx(220)
