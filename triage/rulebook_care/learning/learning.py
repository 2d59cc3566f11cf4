"""What closed tickets teach about the rulebook's numbers: shares of causes, seen-with pairs, cure chances.

Each number is a prior worth `weight` tickets, so that with few tickets little moves. Shares of a symptom are
a Dirichlet, whose margins are the Betas used here; a seen-with pair and a cure chance are a Beta each, and
the bands of one group keep a sum below 1 wherever their causes are named alike. Mean and interval are those
of the posterior (Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, sections 2.4 and 3.4; from memory).
A number drifts when so many tickets could hardly be so far from it by chance. Nothing here changes a file.

Tickets may weigh unequally. They then count as many as their effective sample size, (sum of weights) squared
over the sum of their squares (Leslie Kish, Survey Sampling, 1965; from memory).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal, TypeAlias

from scipy import stats

from triage.decide.causes.ranking import ranking_tables
from triage.rulebook.model import OTHER_CAUSE, OTHERS, Rulebook

Kind: TypeAlias = Literal["share", "seen_with", "cure"]
Path: TypeAlias = tuple[str, ...]

WEIGHT = 50.0
"""Tickets that a number of the rulebook is worth, unless said otherwise. Common practice, no source."""

LEAST = 20
"""Nothing is proposed from fewer tickets. Common practice, no source."""

DRIFT = 0.001
"""A chance below this is drift: of a rulebook's hundreds of numbers, one in twenty is always odd."""

CONFIDENCE = 0.95
_SURE = 0.999  # a prior of 0 or 1 could never be unlearned


@dataclass(frozen=True, slots=True)
class ClosedTicket:
    """A closed ticket with a confirmed cause. What was not known is left out of `shown` and `cured`."""

    symptoms: tuple[str, ...]
    cause: str
    shown: Mapping[str, bool]  # evidence rule -> whether it held, the bands of a group together
    cured: Mapping[str, bool]  # check that was done -> whether it cured
    first_outcome: str | None = None
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Number:
    """A number of the rulebook as a chance, and where it stands. `unit` is what the file writes for 1."""

    kind: Kind
    of: str  # symptom, evidence rule or check
    cause: str
    file: str
    path: Path
    written: Decimal
    unit: Decimal = Decimal(1)

    @property
    def chance(self) -> float:
        return float(self.written / self.unit)


@dataclass(frozen=True, slots=True)
class Learned:
    """One number after the tickets: seen in `hits` of `tickets`; `proposed` as the file would write it.

    By their weights these count as `effective_hits` of `effective_tickets`, from which all else follows.
    `mean`, `low` and `high` are the posterior's; `seen_low` and `seen_high` bound the share in the tickets
    alone (Wilson, of whole tickets). `proposed` is None with too few tickets, or nothing to change.
    """

    number: Number
    hits: int
    tickets: int
    effective_hits: float
    effective_tickets: float
    mean: float
    low: float
    high: float
    seen_low: float
    seen_high: float
    drifts: bool
    proposed: Decimal | None


@dataclass(frozen=True, slots=True)
class Posterior:
    """Mean and interval of a Beta."""

    mean: float
    low: float
    high: float


def learn(
    rulebook: Rulebook, tickets: Iterable[ClosedTicket], weight: float = WEIGHT, least: int = LEAST
) -> tuple[Learned, ...]:
    """Every number of the rulebook with what the tickets say of it, in the rulebook's order."""
    counts = _Counts(rulebook)
    for ticket in tickets:
        counts.take(ticket)
    found = [_learned(number, counts.of(number), weight, least) for number in numbers(rulebook)]
    return tuple(_without_overfull_groups(rulebook, found))


def numbers(rulebook: Rulebook) -> Iterator[Number]:
    """The numbers that can be learned: of symptoms, live evidence and checks."""
    for symptom in rulebook.symptoms.values():
        total = sum(symptom.shares.values(), Decimal(0))
        for cause, share in symptom.shares.items():
            file = f"symptoms/{symptom.id}.yml"
            yield Number("share", symptom.id, cause, file, ("shares", cause), share, total)
    for rule in rulebook.evidence.values():
        if rule.head.status == "live":
            for cause, chance in {**rule.seen_with, OTHERS: rule.others}.items():
                path = ("then", "seen_with", cause)
                yield Number("seen_with", rule.head.id, cause, rule.head.file, path, Decimal(str(chance)))
    for check in rulebook.checks.values():
        for cause, chance in check.resolves.items():
            file = f"checks/{check.id}.yml"
            yield Number("cure", check.id, cause, file, ("resolves", cause), Decimal(str(chance)))


def beta_posterior(prior: float, weight: float, hits: float, tickets: float) -> Posterior:
    """Of a chance whose prior mean `prior` is worth `weight` tickets, after `hits` in `tickets`."""
    prior = min(max(prior, 1.0 - _SURE), _SURE)
    alpha, beta = weight * prior + hits, weight * (1.0 - prior) + tickets - hits
    low, high = stats.beta.interval(CONFIDENCE, alpha, beta)
    return Posterior(alpha / (alpha + beta), float(low), float(high))


def wilson(hits: int, tickets: int) -> tuple[float, float]:
    """The interval of a share seen (Wilson 1927; Newcombe 1998, method 3); (0, 1) without tickets."""
    if not tickets:
        return 0.0, 1.0
    interval = stats.binomtest(hits, tickets).proportion_ci(CONFIDENCE, "wilson")
    return float(interval.low), float(interval.high)


@dataclass(slots=True)
class _Seen:
    hits: int = 0
    tickets: int = 0
    weight: float = 0.0
    squares: float = 0.0
    weight_of_hits: float = 0.0

    def take(self, hit: bool, weight: float) -> None:
        self.hits += hit
        self.tickets += 1
        self.weight += weight
        self.squares += weight * weight
        self.weight_of_hits += weight * hit

    @property
    def effective(self) -> tuple[float, float]:
        """Hits and tickets, scaled to the effective sample size."""
        if not self.tickets:
            return 0.0, 0.0
        return self.weight_of_hits * self.weight / self.squares, self.weight * self.weight / self.squares


class _Counts:
    def __init__(self, rulebook: Rulebook) -> None:
        self._rulebook = rulebook
        self._seen: defaultdict[tuple[str, str, str], _Seen] = defaultdict(_Seen)

    def take(self, ticket: ClosedTicket) -> None:
        if len(ticket.symptoms) == 1:  # which of several symptoms a cause made is not known
            self._share(ticket.symptoms[0], ticket)
        for rule, held in ticket.shown.items():
            named = ticket.cause in self._rulebook.evidence[rule].seen_with
            self._seen["seen_with", rule, ticket.cause if named else OTHERS].take(held, ticket.weight)
        for check, cured in ticket.cured.items():
            if check in self._rulebook.checks:
                self._seen["cure", check, ticket.cause].take(cured, ticket.weight)

    def of(self, number: Number) -> _Seen:
        return self._seen[number.kind, number.of, number.cause]

    def _share(self, symptom: str, ticket: ClosedTicket) -> None:
        known = self._rulebook.symptoms.get(symptom)
        if known is None:
            return
        confirmed = ticket.cause if ticket.cause in known.shares else OTHER_CAUSE
        for cause in known.shares:
            self._seen["share", symptom, cause].take(cause == confirmed, ticket.weight)


def _learned(number: Number, seen: _Seen, weight: float, least: int) -> Learned:
    hits, tickets = seen.effective
    posterior = beta_posterior(number.chance, weight, hits, tickets)
    whole_hits, whole_tickets = round(hits), round(tickets)
    seen_low, seen_high = wilson(whole_hits, whole_tickets)
    enough = tickets >= least
    drifts = enough and float(stats.binomtest(whole_hits, whole_tickets, number.chance).pvalue) < DRIFT
    proposed = _written(number, posterior.mean) if enough else None
    if proposed == number.written:
        proposed = None
    return Learned(
        number,
        seen.hits,
        seen.tickets,
        hits,
        tickets,
        posterior.mean,
        posterior.low,
        posterior.high,
        seen_low,
        seen_high,
        drifts,
        proposed,
    )


def _written(number: Number, chance: float) -> Decimal:
    """As a person would write it: shares to a tenth, chances to a hundredth and never 0 or 1."""
    if number.kind == "share":
        return max((Decimal(chance) * number.unit).quantize(Decimal("0.1")), Decimal("0.1"))
    return min(max(Decimal(chance).quantize(Decimal("0.01")), Decimal("0.01")), Decimal("0.99"))


def _without_overfull_groups(rulebook: Rulebook, found: Iterable[Learned]) -> Iterator[Learned]:
    """Takes back what is proposed for a group whose bands would then fill up a cause's chances."""
    learned = list(found)
    proposed = {
        (one.number.of, one.number.cause): float(one.proposed or one.number.written)
        for one in learned
        if one.number.kind == "seen_with"
    }
    full: set[str] = set()
    for observation in ranking_tables(rulebook).observations:
        named = {cause for rule in observation.rules for cause in rulebook.evidence[rule].seen_with}
        for cause in (*named, OTHERS):
            bands = (proposed.get((rule, cause), proposed[rule, OTHERS]) for rule in observation.rules)
            if len(observation.rules) > 1 and sum(bands) > _SURE:
                full.update(observation.rules)
    for one in learned:
        if one.number.kind == "seen_with" and one.number.of in full:
            yield replace(one, proposed=None)
        else:
            yield one
