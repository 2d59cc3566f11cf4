"""Findings that one mechanism makes together are no independent witnesses, and are discounted.

The world of these tests draws each finding from the book's own chances, those of one mechanism by a Gaussian
copula: a common factor makes them go together, the causes being what they are. Measured in such worlds, on
12 random books of 8 causes and three mechanisms with three findings each (the band is that of top chances
from .8 to .9; `over` is the mean chance less the share that was right, in points):

    correlation  model                          right first  log loss  over
    .3           independent                       52.8 %      1.320    11.0
    .3           tempered, discount .2             52.9 %      1.291     0.3
    .3           tempered, discount .3             52.9 %      1.299    -4.7
    .3           latent class, weight .2           53.0 %      1.291     1.6
    0            independent                       56.8 %      1.168    -0.2
    0            tempered, discount .2             56.5 %      1.199    -8.0
    0            latent class, weight .2           56.3 %      1.195    -5.0

Tempering at .2 does as well as the latent class where findings go together, loses less where they do not, and
keeps a chance the product of its factors. Where findings do not go together, high chances are said too low:
only what does go together is given a mechanism.

Source: Gaussian copula with a common factor, simulated
Status: computed with numpy and scipy
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from tests.triage.builders import evidence, minimal_rulebook
from tests.triage.small_rulebooks import evidence_rule, small_rulebook
from triage.decide.causes.ranking import rank
from triage.rulebook.model import Rulebook
from triage.values.errors import RulebookError

MECHANISMS, EACH, CAUSES = 3, 3, 8


@dataclass(frozen=True)
class Measured:
    right: float  # the share of the calls whose true cause came first
    over: float  # in the band: mean top chance less the share that was right


def _book(draw: np.random.Generator, discount: float) -> tuple[Rulebook, NDArray[np.float64]]:
    """A random book, and its chances [rule, cause], rules of a mechanism side by side."""
    causes = [f"c{index}" for index in range(CAUSES)]
    share = draw.dirichlet(np.ones(CAUSES) * 1.2)
    rules, chances = [], np.empty((MECHANISMS * EACH, CAUSES))
    for mechanism in range(MECHANISMS):
        raised = draw.choice(CAUSES, 2, replace=False)
        for each in range(EACH):
            number = mechanism * EACH + each
            chances[number] = others = float(draw.uniform(0.08, 0.4))
            chances[number, raised] = draw.uniform(0.55, 0.9, size=2)
            seen = {causes[cause]: float(chances[number, cause]) for cause in raised}
            rule = evidence_rule(f"e{number}", others, **seen)
            rules.append(replace(rule, mechanism=f"m{mechanism}"))
    book = small_rulebook({"s": dict(zip(causes, share.round(6).tolist(), strict=True))}, rules)
    return replace(book, tolerances=replace(book.tolerances, mechanism_discount=discount)), chances


def _measured(correlation: float, discount: float, books: int, calls: int) -> Measured:
    draw = np.random.default_rng(14)
    tops, rights = [], []
    for _ in range(books):
        book, chances = _book(draw, discount)
        share = np.array([float(each) for each in book.symptoms["s"].shares.values()])
        true = draw.choice(CAUSES, size=calls, p=share / share.sum())
        common = np.repeat(draw.standard_normal((calls, MECHANISMS)), EACH, axis=1)
        alone = draw.standard_normal((calls, MECHANISMS * EACH))
        level = np.sqrt(correlation) * common + np.sqrt(1 - correlation) * alone
        shown = level < norm.ppf(chances)[:, true].T
        patterns, which = np.unique(shown, axis=0, return_inverse=True)
        first, top = [], []
        for pattern in patterns.tolist():
            found = rank(book, ["s"], {f"e{index}": held for index, held in enumerate(pattern)})[0]
            first.append(int(found.cause[1:]) if found.cause != "other" else -1)
            top.append(found.chance)
        rights.append(np.array(first)[which] == true)
        tops.append(np.array(top)[which])
    right, chance = np.concatenate(rights), np.concatenate(tops)
    band = (chance >= 0.8) & (chance < 0.9)
    return Measured(float(right.mean()), float(chance[band].mean() - right[band].mean()))


def _discount() -> float:
    return small_rulebook({"s": {"a": 1, "other": 1}}).tolerances.mechanism_discount


def _holds(books: int, calls: int) -> None:
    together = _measured(0.3, _discount(), books, calls)
    assert abs(together.over) <= 0.03
    assert _measured(0.3, 0.0, books, calls).over > 0.04
    independent = _measured(0.0, 0.0, books, calls)
    assert abs(independent.over) <= 0.02
    assert _measured(0.0, _discount(), books, calls).right >= independent.right - 0.01


def test_a_shared_mechanism_is_discounted_so_that_high_chances_are_right() -> None:
    _holds(books=4, calls=10_000)


@pytest.mark.nightly
def test_a_shared_mechanism_is_discounted_so_that_high_chances_are_right_in_many_books() -> None:
    _holds(books=40, calls=20_000)


def test_each_of_two_findings_of_one_mechanism_counts_in_part_and_says_so() -> None:
    rules = [
        replace(evidence_rule(name, 0.2, a=0.8), mechanism=mechanism)
        for name, mechanism in (("e", "dust"), ("f", "dust"), ("g", None))
    ]
    book = small_rulebook({"s": {"a": 50, "other": 50}}, rules)
    (first, _) = rank(book, ["s"], {"e": True, "f": True, "g": True})
    odds = 4 ** (2 / 1.2) * 4
    assert first.chance == pytest.approx(odds / (1 + odds))
    assert first.share * np.prod([factor.factor for factor in first.factors]) == pytest.approx(first.chance)
    assert [factor.text for factor in first.factors] == [
        "Rule e (counted at 83%, with others of dust)",
        "Rule f (counted at 83%, with others of dust)",
        "Rule g",
    ]
    alone = rank(book, ["s"], {"e": True})[0]
    assert (alone.chance, alone.factors[0].text) == (pytest.approx(0.8), "Rule e")


def test_the_bands_of_a_group_have_one_mechanism() -> None:
    bands = {
        f"evidence/level-{band}.yml": {
            **evidence(f"level-{band}", {"fill_level": f"< {20 * band}"}, {"fill_level": 1},
                       {"fill_level": 90}, {"low_fill": 0.3, "others": 0.1}),
            "group": "level", "band": band, **({"mechanism": "dust"} if band == 1 else {}),
        }
        for band in (1, 2)
    }  # fmt: skip
    with pytest.raises(RulebookError, match="give it the mechanism of level-1"):
        minimal_rulebook({"evidence/fill-low.yml": None, **bands})
