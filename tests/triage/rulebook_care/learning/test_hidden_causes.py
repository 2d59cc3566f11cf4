"""What the store fixes closes without a cause, and is learned from as well: worlds that hide their causes.

Source: A. P. Dempster, N. M. Laird and D. B. Rubin, JRSS-B 39(1), 1977 (EM); T. A. Louis, JRSS-B 44(2), 1982
Status: from memory (both methods); the truth is simulated, and one case is held against the likelihood itself
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import pytest
from numpy.random import Generator
from scipy import optimize

from tests.triage.builders import minimal_rulebook
from tests.triage.rulebook_care.learning.test_learning import Truth, one
from triage.rulebook_care.learning.learning import ClosedTicket, Learned, learn

BASE = minimal_rulebook()
TOGETHER = 0.5  # of the calls whose checks are done before one wait
TOLD = 0.05  # of what the store fixes closes with a cause even so
FOUND = 0.9  # of what is sent for closes with a confirmed cause


def hidden(tickets: Iterable[ClosedTicket], random: Generator) -> Iterator[ClosedTicket]:
    """As a program records them: checks end with the first that cures, and then the cause is seldom told."""
    for each in tickets:
        rinsed, filled = each.cured["rinse-filter"], each.cured["fill-hopper"]
        cured, together = {"rinse-filter": rinsed}, ()
        if random.random() < TOGETHER and (rinsed or filled):
            cured, together = {}, ("rinse-filter", "fill-hopper")
        elif not rinsed:
            cured["fill-hopper"] = filled
        told = random.random() < (TOLD if rinsed or filled else FOUND)
        yield ClosedTicket(each.symptoms, each.cause if told else None, each.shown, cured, together)


def world(shares: dict[str, float], cures: dict[str, float], random: Generator) -> Truth:
    """A world with these shares and cures of not_freezing, and else as the rulebook says."""
    truth = Truth.drawn(BASE, 1e9, random)
    for cause, share in shares.items():
        truth.chances["share", "not_freezing", cause] = share
    truth.chances["cure", "rinse-filter", "dirty_filter"] = cures["rinse-filter"]
    truth.chances["cure", "fill-hopper", "low_fill"] = cures["fill-hopper"]
    return truth


SHARES = {"dirty_filter": 0.40, "low_fill": 0.25, "compressor_fault": 0.20, "other": 0.15}
CURES = {"rinse-filter": 0.75, "fill-hopper": 0.60}


def test_shares_and_cures_come_out_as_they_are_where_the_store_names_no_cause() -> None:
    random = np.random.default_rng(1977)
    off: dict[tuple[str, str], list[float]] = {}
    for _ in range(8):
        truth = world(SHARES, CURES, random)
        found = learn(BASE, hidden(truth.tickets(3000), random), weight=50.0)
        for each in learned(found):
            true = truth.chances[each.number.kind, each.number.of, each.number.cause]
            off.setdefault((each.number.kind, each.number.cause), []).append(each.mean - true)
    bias = {number: abs(float(np.mean(each))) for number, each in off.items()}
    assert {kind for kind, _ in bias} == {"share", "cure"}
    assert max(each for (kind, _), each in bias.items() if kind == "share") <= 0.02
    assert max(each for (kind, _), each in bias.items() if kind == "cure") <= 0.05


def learned(found: Iterable[Learned]) -> list[Learned]:
    """The shares and cures of not_freezing's causes."""
    return [each for each in found if each.number.kind in ("share", "cure") and each.tickets]


def test_intervals_hold_the_truth_in_nine_of_ten_worlds_at_least() -> None:
    random = np.random.default_rng(1982)
    held = []
    for _ in range(60):
        truth = Truth.drawn(BASE, 50.0, random)
        found = learn(BASE, hidden(truth.tickets(400), random), weight=50.0)
        held += truth.covered(tuple(learned(found)))
    assert len(held) == 60 * 6
    assert float(np.mean(held)) >= 0.90


def test_a_hidden_cause_counts_for_less_than_a_confirmed_one() -> None:
    random = np.random.default_rng(7)
    tickets = list(world(SHARES, CURES, random).tickets(800))
    open_book = one(learn(BASE, tickets), "share", "not_freezing", "dirty_filter")
    closed = one(learn(BASE, hidden(tickets, random)), "share", "not_freezing", "dirty_filter")
    assert open_book.counts_as == pytest.approx(800)
    assert 80 < closed.counts_as < 800
    assert closed.high - closed.low > open_book.high - open_book.low


def test_the_numbers_are_where_the_likelihood_is_highest() -> None:
    """Two causes and a check: the share and the cure by EM are those that a plain climb of it finds."""
    cured, failed, told_filter, told_other = 60, 25, 8, 15
    tickets = [ClosedTicket(("leaking",), None, {}, {"reseat-seal": True})] * cured
    tickets += [ClosedTicket(("leaking",), None, {}, {"reseat-seal": False})] * failed
    tickets += [ClosedTicket(("leaking",), "seal_wrong", {}, {"reseat-seal": False})] * told_filter
    tickets += [ClosedTicket(("leaking",), "other", {}, {"reseat-seal": False})] * told_other
    found = learn(BASE, tickets, weight=1.0, least=1)
    share, cure = (
        one(found, "share", "leaking", "seal_wrong"),
        one(found, "cure", "reseat-seal", "seal_wrong"),
    )
    p, r = share.number.chance, cure.number.chance

    def loss(at: np.ndarray) -> float:
        q, c = 1 / (1 + np.exp(-at))
        seen = cured * np.log(q * c + (1 - q) * 0.002) + failed * np.log(q * (1 - c) + (1 - q) * 0.998)
        seen += told_filter * np.log(q * (1 - c)) + told_other * np.log((1 - q) * 0.998)
        book = p * np.log(q) + (1 - p) * np.log(1 - q) + r * np.log(c) + (1 - r) * np.log(1 - c)
        return -float(seen + book)

    best = 1 / (1 + np.exp(-optimize.minimize(loss, np.zeros(2), method="Nelder-Mead", tol=1e-10).x))
    assert (share.mean, cure.mean) == pytest.approx(tuple(best), abs=1e-4)


def test_of_a_joint_cure_each_check_has_its_part() -> None:
    tickets = [ClosedTicket(("not_freezing",), "dirty_filter", {}, {}, ("fill-hopper", "rinse-filter"))] * 40
    found = learn(BASE, tickets)
    rinse = one(found, "cure", "rinse-filter", "dirty_filter")
    assert rinse.hits == pytest.approx(40, abs=0.2), "only one of them can cure this cause"
    assert rinse.tickets == 40
