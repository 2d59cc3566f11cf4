"""Weights for what gets confirmed: arithmetic, bound, notes; and shares of a world that hides its causes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
import pytest
from numpy.random import Generator

from tests.triage.builders import minimal_rulebook
from tests.triage.rulebook_care.learning.test_learning import Truth, one
from triage.rulebook_care.learning.learning import ClosedTicket, Learned, learn
from triage.rulebook_care.learning.weights import (
    Stratum,
    Weights,
    confirmation_weights,
    stratum,
    stratum_of,
    weighed,
)

BASE = minimal_rulebook()
SENT = stratum(["not_freezing"], "dispatch")
STORE = stratum(["not_freezing"], "fix_in_store")


def ticket(cause: str, first_outcome: str) -> ClosedTicket:
    return ClosedTicket(("not_freezing",), cause, {}, {}, first_outcome)


def test_confirmed_tickets_stand_for_the_closed_ones_of_their_kind() -> None:
    weights = confirmation_weights({SENT: 60, STORE: 40}, {SENT: 30, STORE: 10})
    assert weights.of == pytest.approx({SENT: 0.4 * 2, STORE: 0.4 * 4})
    stands_for = {kind: weights.confirmed[kind] * weight / 0.4 for kind, weight in weights.of.items()}
    assert stands_for == pytest.approx({SENT: 60, STORE: 40})
    assert weights.tickets == 40
    # Kish 1965, from memory: (30 * 0.8 + 10 * 1.6)^2 / (30 * 0.64 + 10 * 2.56)
    assert weights.effective_tickets == pytest.approx(1600 / 44.8)


def test_where_all_kinds_are_confirmed_alike_nothing_is_weighed() -> None:
    weights = confirmation_weights({SENT: 60, STORE: 40}, {SENT: 30, STORE: 20})
    assert set(weights.of.values()) == {1.0}
    assert weights.effective_tickets == pytest.approx(50)


def test_a_weight_above_the_bound_is_cut_and_counted() -> None:
    weights = confirmation_weights({SENT: 100, STORE: 900}, {SENT: 99, STORE: 1}, bound=10.0)
    assert weights.of[STORE] == 10.0  # of 0.1 / (1 / 900) = 90
    assert weights.cut == 1
    notes = " ".join(weights.notes())
    assert "cut at 10 (1 of 100 tickets cut)" in notes
    assert "some of the bias stays" in notes


def test_the_order_of_symptoms_makes_no_other_kind() -> None:
    assert stratum(["not_freezing", "leaking"], "hold") == stratum(["leaking", "not_freezing"], "hold")


def test_the_notes_say_what_is_assumed_and_for_whom_nothing_stands() -> None:
    notes = list(confirmation_weights({SENT: 60, STORE: 1}, {SENT: 30}).notes())
    assert "missing at random given symptom and first outcome" in notes[0]
    assert "the tickets count as 30.0 (Kish's effective sample size)" in notes[1]
    assert notes[2] == (
        "Nothing stands for 1 closed ticket with not_freezing that began as fix_in_store: "
        "none has a confirmed cause."
    )


def test_without_a_confirmed_ticket_there_are_no_weights() -> None:
    nothing: list[Weights] = [confirmation_weights({}, {}), confirmation_weights({SENT: 3}, {})]
    for weights in nothing:
        assert (weights.of, weights.tickets, weights.effective_tickets) == ({}, 0, 0.0)
    assert [len(list(weights.notes())) for weights in nothing] == [1, 2]


def test_the_posterior_counts_tickets_at_their_effective_size() -> None:
    tickets = [ticket("compressor_fault", "dispatch")] * 30 + [ticket("low_fill", "fix_in_store")] * 10
    weights = confirmation_weights({SENT: 60, STORE: 40}, {SENT: 30, STORE: 10})
    learned = one(learn(BASE, weighed(tickets, weights), weight=50), "share", "not_freezing", "low_fill")
    assert (learned.hits, learned.tickets) == (10, 40)
    assert learned.effective_tickets == pytest.approx(1600 / 44.8)
    assert learned.effective_hits == pytest.approx(0.4 * 1600 / 44.8)  # 40 of the 100 closed
    size = 1600 / 44.8
    assert learned.mean == pytest.approx((50 * 14 / 66 + 0.4 * size) / (50 + size))


def test_weights_that_are_all_alike_change_nothing() -> None:
    tickets = [ticket("low_fill", "dispatch")] * 7 + [ticket("dirty_filter", "dispatch")] * 23
    plain, heavy = learn(BASE, tickets), learn(BASE, [replace(each, weight=3.0) for each in tickets])
    for each, other in zip(plain, heavy, strict=True):
        assert (each.hits, each.tickets, each.proposed) == (other.hits, other.tickets, other.proposed)
        assert each.effective_tickets == pytest.approx(other.effective_tickets)
        assert (each.mean, each.low, each.high) == pytest.approx((other.mean, other.low, other.high))


def test_from_an_effective_size_below_the_least_nothing_is_proposed() -> None:
    tickets = [ticket("low_fill", "dispatch")] * 30
    uneven = [replace(tickets[0], weight=10.0), *tickets[1:]]  # count as 39^2 / 129 = 11.8
    assert one(learn(BASE, tickets), "share", "not_freezing", "low_fill").proposed is not None
    found = one(learn(BASE, uneven), "share", "not_freezing", "low_fill")
    assert (found.tickets, found.proposed, found.drifts) == (30, None, False)


OFTEN_SENT = {"low_fill": 0.1, "dirty_filter": 0.25, "compressor_fault": 0.9, "other": 0.6}
OFTEN_CONFIRMED = {"dispatch": 0.9, "fix_in_store": 0.15}


def hidden(tickets: Iterable[ClosedTicket], random: Generator) -> tuple[list[ClosedTicket], Weights]:
    """The tickets whose cause gets confirmed, where that hangs on who is sent, and that on the cause."""
    closed: Counter[Stratum] = Counter()
    confirmed: list[ClosedTicket] = []
    for each in tickets:
        sent = random.random() < OFTEN_SENT[each.cause]
        told = replace(each, first_outcome="dispatch" if sent else "fix_in_store")
        closed[stratum_of(told)] += 1
        if random.random() < OFTEN_CONFIRMED[str(told.first_outcome)]:
            confirmed.append(told)
    return confirmed, confirmation_weights(closed, Counter(map(stratum_of, confirmed)))


def shares(truth: Truth, found: Iterable[Learned]) -> Iterator[tuple[bool, str, float]]:
    """Whether the interval holds the true share, the cause, and how far the mean is from it."""
    for each in found:
        number = each.number
        if number.kind == "share" and each.tickets:
            true = truth.chances["share", number.of, number.cause]
            yield each.low <= true <= each.high, number.cause, each.mean - true


def compared(worlds: int, count: int, seed: int) -> tuple[list[tuple[bool, str, float]], ...]:
    """What is learned of shares without and with weights."""
    random = np.random.default_rng(seed)
    plain: list[tuple[bool, str, float]] = []
    corrected: list[tuple[bool, str, float]] = []
    for _ in range(worlds):
        truth = Truth.drawn(BASE, 50.0, random)
        confirmed, weights = hidden(truth.tickets(count), random)
        plain += shares(truth, learn(BASE, confirmed))
        corrected += shares(truth, learn(BASE, weighed(confirmed, weights)))
    return plain, corrected


def rate(found: list[tuple[bool, str, float]]) -> float:
    return float(np.mean([held for held, _, _ in found]))


def off(found: list[tuple[bool, str, float]], cause: str) -> float:
    return float(np.mean([error for _, of, error in found if of == cause]))


def test_shares_from_confirmed_tickets_are_biased_and_weights_take_the_bias_away() -> None:
    plain, corrected = compared(worlds=60, count=600, seed=21)
    assert len(corrected) == 60 * 4
    assert off(plain, "compressor_fault") > 0.08
    assert off(plain, "low_fill") < -0.06
    assert rate(plain) < 0.4
    assert off(corrected, "compressor_fault") == pytest.approx(0.0, abs=0.015)
    assert off(corrected, "low_fill") == pytest.approx(0.0, abs=0.015)
    assert rate(corrected) == pytest.approx(0.95, abs=0.045)  # three standard errors of 240 intervals


@pytest.mark.nightly
def test_weighted_intervals_cover_the_truth_at_the_stated_rate_in_many_worlds() -> None:
    plain, corrected = compared(worlds=300, count=2000, seed=22)
    assert rate(plain) < 0.1
    assert rate(corrected) == pytest.approx(0.95, abs=0.02)
