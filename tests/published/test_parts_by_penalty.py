"""Parts to carry where each costs something to carry and an unfinished job costs a penalty, by ranking.

Source: Smith, Chambers & Shlifer; Optimal inventories based on job completion rate for repairs requiring
    multiple items (title from memory); Management Science 26, 1980, note; method by the abstract,
    https://scilit.net/publications/09ac5842e72693937c2cf658e4ca9ab0
Status: secondary copy (the abstract's method); the numbers are our own, computed with all 32 choices
"""

from __future__ import annotations

import math
from itertools import combinations

import pytest

from triage.decide.parts_kit import carry_by_penalty

NEEDED = {"1": 0.30, "2": 0.20, "3": 0.10, "4": 0.05, "5": 0.02}
HOLDING = {"1": 2.0, "2": 4.0, "3": 1.0, "4": 3.0, "5": 0.5}


def cost(carried: frozenset[str]) -> float:
    finished = math.prod(1 - chance for part, chance in NEEDED.items() if part not in carried)
    return sum(HOLDING[part] for part in carried) + 50 * (1 - finished)


def test_four_of_five_parts_are_carried_at_a_cost_of_10():
    carried, found = carry_by_penalty(NEEDED, HOLDING, 50)
    assert carried == {"1", "2", "3", "5"}
    assert found == pytest.approx(10.00)
    assert 1 - (found - 7.5) / 50 == pytest.approx(0.95)  # the chance to finish


def test_every_other_choice_costs_more():
    everything = [frozenset(some) for size in range(6) for some in combinations(NEEDED, size)]
    ranked = sorted(everything, key=cost)
    assert len(ranked) == 32
    assert [round(cost(some), 2) for some in ranked[:3]] == [10.00, 10.45, 10.50]
    assert ranked[0] == carry_by_penalty(NEEDED, HOLDING, 50)[0]
    assert cost(frozenset()) == pytest.approx(26.5388)
