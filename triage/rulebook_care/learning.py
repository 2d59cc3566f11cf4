"""What closed tickets teach about the rulebook's numbers: shares of causes, seen-with pairs, cure chances.

Each number is a prior worth `weight` tickets, so that with few tickets little moves. Shares of a symptom are
a Dirichlet, whose margins are the Betas used here; a seen-with pair and a cure chance are a Beta each, and
the bands of one group keep a sum below 1 wherever their causes are named alike. Mean and interval are those
of the posterior (Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, sections 2.4 and 3.4; from memory).
A number drifts when so many tickets could hardly be so far from it by chance. Nothing here changes a file.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal, TypeAlias

from scipy import stats

from triage.ranking import ranking_tables
from triage.rulebook import OTHER_CAUSE, OTHERS, Rulebook

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

    `mean`, `low` and `high` are the posterior's; `seen_low` and `seen_high` bound the share in the tickets
    alone (Wilson). `proposed` is None where there are too few tickets, or nothing to change.
    """

    number: Number
    hits: int
    tickets: int
    mean: float
    low: float
    high: float
    seen_low: float
    seen_high: float
    drifts: bool
    proposed: Decimal | None


@dataclass(frozen=True, slots=True)
class Posterior:
    """Mean, variance and interval of a Beta."""

    mean: float
    variance: float
    low: float
    high: float


def learn(
    rulebook: Rulebook, tickets: Iterable[ClosedTicket], weight: float = WEIGHT, least: int = LEAST
) -> tuple[Learned, ...]:
    """Every number of the rulebook with what the tickets say of it, in the rulebook's order."""
    counts = _Counts(rulebook)
    for ticket in tickets:
        counts.take(ticket)
    found = [
        _learned(number, counts.hits[_key(number)], counts.tickets(number), weight, least)
        for number in numbers(rulebook)
    ]
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


def beta_posterior(prior: float, weight: float, hits: int, tickets: int) -> Posterior:
    """Of a chance whose prior mean `prior` is worth `weight` tickets, after `hits` in `tickets`."""
    prior = min(max(prior, 1.0 - _SURE), _SURE)
    beta = stats.beta(weight * prior + hits, weight * (1.0 - prior) + tickets - hits)
    low, high = beta.interval(CONFIDENCE)
    return Posterior(float(beta.mean()), float(beta.var()), float(low), float(high))


def dirichlet_means(prior: Sequence[float], counts: Sequence[int]) -> tuple[float, ...]:
    """Posterior means of shares, from the prior's parameters and the counts."""
    total = sum(prior) + sum(counts)
    return tuple((alpha + count) / total for alpha, count in zip(prior, counts, strict=True))


def wilson(hits: int, tickets: int, correction: bool = False) -> tuple[float, float]:
    """The interval of a share seen (Wilson 1927; Newcombe 1998, methods 3 and 4); (0, 1) without tickets."""
    if not tickets:
        return 0.0, 1.0
    interval = stats.binomtest(hits, tickets).proportion_ci(
        CONFIDENCE, "wilsoncc" if correction else "wilson"
    )
    return float(interval.low), float(interval.high)


class _Counts:
    def __init__(self, rulebook: Rulebook) -> None:
        self._rulebook = rulebook
        self.hits: Counter[tuple[str, str, str]] = Counter()
        self._tickets: Counter[tuple[str, str, str]] = Counter()

    def take(self, ticket: ClosedTicket) -> None:
        if len(ticket.symptoms) == 1:  # which of several symptoms a cause made is not known
            self._share(ticket.symptoms[0], ticket.cause)
        for rule, held in ticket.shown.items():
            named = ticket.cause in self._rulebook.evidence[rule].seen_with
            self._add(("seen_with", rule, ticket.cause if named else OTHERS), held)
        for check, cured in ticket.cured.items():
            if check in self._rulebook.checks:
                self._add(("cure", check, ticket.cause), cured)

    def tickets(self, number: Number) -> int:
        key = ("share", number.of, "") if number.kind == "share" else _key(number)
        return self._tickets[key]

    def _share(self, symptom: str, cause: str) -> None:
        known = self._rulebook.symptoms.get(symptom)
        if known is None:
            return
        self._tickets["share", symptom, ""] += 1
        self.hits["share", symptom, cause if cause in known.shares else OTHER_CAUSE] += 1

    def _add(self, key: tuple[str, str, str], hit: bool) -> None:
        self._tickets[key] += 1
        self.hits[key] += hit


def _key(number: Number) -> tuple[str, str, str]:
    return number.kind, number.of, number.cause


def _learned(number: Number, hits: int, tickets: int, weight: float, least: int) -> Learned:
    posterior = beta_posterior(number.chance, weight, hits, tickets)
    seen_low, seen_high = wilson(hits, tickets)
    enough = tickets >= least
    drifts = enough and float(stats.binomtest(hits, tickets, number.chance).pvalue) < DRIFT
    proposed = _written(number, posterior.mean) if enough else None
    if proposed == number.written:
        proposed = None
    return Learned(
        number,
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
