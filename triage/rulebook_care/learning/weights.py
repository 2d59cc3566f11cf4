"""Weights for tickets with a confirmed cause, so that together they stand for all closed tickets.

Whether a cause gets confirmed hangs on whether someone is sent, and that on the cause. A ticket weighs the
inverse of the chance of being confirmed, estimated as the part confirmed of the closed tickets with the same
symptoms and first outcome, times the part confirmed of all (a stabilised weight). This is right where within
these the cause has no say in whether it gets confirmed: missing at random given symptom and first outcome.

Inverse-probability weights: D. G. Horvitz and D. J. Thompson, "A generalization of sampling without
replacement from a finite universe", Journal of the American Statistical Association 47 (1952); with estimated
chances for what is missing: J. M. Robins, A. Rotnitzky and L. P. Zhao, "Estimation of regression coefficients
when some regressors are not always observed", same journal, 89 (1994); both from memory. The bound is common
practice, no source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from triage.rulebook_care.learning.learning import ClosedTicket

Stratum: TypeAlias = tuple[tuple[str, ...], str]
"""(symptoms in alphabetical order, first outcome)."""

BOUND = 10.0
"""A weight above this is cut to it: a few tickets must not speak for all. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Weights:
    """The weight of a confirmed ticket by stratum, after cutting at `bound`.

    `closed` and `confirmed` count the tickets they come from; strata without a confirmed ticket have none.
    """

    of: Mapping[Stratum, float]
    closed: Mapping[Stratum, int]
    confirmed: Mapping[Stratum, int]
    bound: float
    cut: int  # tickets whose weight was above the bound

    @property
    def tickets(self) -> int:
        return sum(self.confirmed[stratum] for stratum in self.of)

    @property
    def effective_tickets(self) -> float:
        """Kish's effective sample size of all confirmed tickets."""
        total = sum(self.confirmed[stratum] * weight for stratum, weight in self.of.items())
        squares = sum(self.confirmed[stratum] * weight * weight for stratum, weight in self.of.items())
        return total * total / squares if squares else 0.0

    def notes(self) -> Iterator[str]:
        """What is assumed, how unequal the weights are, and for which tickets nothing stands."""
        yield (
            "Weighted by the inverse chance that a ticket's cause gets confirmed. Assumed: missing at random "
            "given symptom and first outcome; among tickets alike in these, the cause has no say in whether "
            "it gets confirmed."
        )
        if self.of:
            yield (
                f"Weights {min(self.of.values()):.2f} to {max(self.of.values()):.2f}, cut at {self.bound:g} "
                f"({self.cut} of {self.tickets} tickets cut); the tickets count as "
                f"{self.effective_tickets:.1f} (Kish's effective sample size)."
            )
        if self.cut:
            yield "Tickets that are cut stand for fewer than they should: some of the bias stays."
        unseen = {stratum: count for stratum, count in self.closed.items() if stratum not in self.of}
        for (symptoms, outcome), count in sorted(unseen.items()):
            yield (
                f"Nothing stands for {count} closed {'ticket' if count == 1 else 'tickets'} with "
                f"{' and '.join(symptoms)} that began as {outcome}: none has a confirmed cause."
            )


def confirmation_weights(
    closed: Mapping[Stratum, int], confirmed: Mapping[Stratum, int], bound: float = BOUND
) -> Weights:
    """From counts of closed tickets, and of those among them with a confirmed cause."""
    total, known = sum(closed.values()), sum(confirmed.values())
    full = {
        stratum: (known / total) / (count / closed[stratum]) for stratum, count in confirmed.items() if count
    }
    return Weights(
        {stratum: min(weight, bound) for stratum, weight in full.items()},
        dict(closed),
        Counter(confirmed),
        bound,
        sum(confirmed[stratum] for stratum, weight in full.items() if weight > bound),
    )


def weighed(tickets: Sequence[ClosedTicket], weights: Weights) -> tuple[ClosedTicket, ...]:
    """The tickets with their weights. Raises KeyError for one that was not counted in them."""
    return tuple(replace(ticket, weight=weights.of[stratum_of(ticket)]) for ticket in tickets)


def stratum_of(ticket: ClosedTicket) -> Stratum:
    """`first_outcome` of the ticket is known."""
    assert ticket.first_outcome is not None
    return stratum(ticket.symptoms, ticket.first_outcome)


def stratum(symptoms: Sequence[str], first_outcome: str) -> Stratum:
    return tuple(sorted(set(symptoms))), first_outcome
