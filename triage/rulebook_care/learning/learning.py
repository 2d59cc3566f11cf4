"""What closed tickets teach about the rulebook's numbers: shares of causes, seen-with pairs, cure chances.

Each number is a prior worth `weight` tickets, so that with few tickets little moves. All closed tickets
count, with a confirmed cause or without one: `likelihood` says how. With the causes confirmed, shares of a
symptom are a Dirichlet, whose margins are the Betas used here; a seen-with pair and a cure chance are a Beta
each, and the bands of one group keep a sum below 1 wherever their causes are named alike (Gelman et al.,
Bayesian Data Analysis, 3rd ed. 2013, sections 2.4 and 3.4; from memory). A ticket whose cause is hidden
counts for as much as it tells. A number drifts when so many tickets could hardly be so far from it by chance.
Nothing here changes a file.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal, TypeAlias

import numpy as np
from scipy import stats

from triage.decide.causes.ranking import ranking_tables
from triage.repairs.statistics import CONFIDENCE, wilson
from triage.rulebook.model import OTHERS, Rulebook
from triage.rulebook_care.learning.likelihood import fit

Kind: TypeAlias = Literal["share", "seen_with", "cure"]
Path: TypeAlias = tuple[str, ...]

WEIGHT = 50.0
"""Tickets that a number of the rulebook is worth, unless said otherwise. Common practice, no source."""

LEAST = 20
"""Nothing is proposed from fewer tickets. Common practice, no source."""

DRIFT = 0.001
"""A chance below this is drift: of a rulebook's hundreds of numbers, one in twenty is always odd."""

SMALL_TOTAL = 20  # shares that sum to less than this are written finer than to a tenth
_SURE = 0.999  # a prior of 0 or 1 could never be unlearned


@dataclass(frozen=True, slots=True)
class ClosedTicket:
    """A closed ticket. What was not known is left out of `shown` and `cured`, or is None.

    Of the checks done `together`, which fixed it before one wait, it is not known which did.
    """

    symptoms: tuple[str, ...]
    cause: str | None
    shown: Mapping[str, bool]  # evidence rule -> whether it held, the bands of a group together
    cured: Mapping[str, bool]  # check that was done -> whether it cured
    together: tuple[str, ...] = ()


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

    Where causes are hidden these are expected counts, and the number is known as well as from `counts_as`
    tickets with every cause confirmed. `mean`, `low` and `high` are the posterior's; `seen_low` and
    `seen_high` bound the share in the tickets alone (Wilson, of whole tickets). `proposed` is None with too
    few tickets, or nothing to change.
    """

    number: Number
    hits: float
    tickets: float
    counts_as: float
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
    every = tuple(numbers(rulebook))
    chances = np.array([min(max(number.chance, 1.0 - _SURE), _SURE) for number in every])
    keys = [(number.kind, number.of, number.cause) for number in every]
    found = fit(rulebook, keys, chances, tickets, weight)
    columns = np.array([found.mean, found.hits, found.tickets, found.worth]).T.tolist()
    learned = [_learned(number, row, weight, least) for number, row in zip(every, columns, strict=True)]
    return tuple(_without_overfull_groups(rulebook, learned))


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


def _learned(number: Number, fitted: Sequence[float], weight: float, least: int) -> Learned:
    mean, hits, tickets, worth = fitted
    counts_as = worth - weight
    told = min(max(mean * worth - weight * number.chance, 0.0), counts_as)  # of these, so many hits
    posterior = beta_posterior(number.chance, weight, told, counts_as)
    whole_hits, whole_tickets = round(told), round(counts_as)
    seen_low, seen_high = wilson(whole_hits, whole_tickets)
    enough = counts_as >= least
    drifts = enough and float(stats.binomtest(whole_hits, whole_tickets, number.chance).pvalue) < DRIFT
    proposed = _written(number, posterior.mean) if enough else None
    if proposed == number.written:
        proposed = None
    return Learned(
        number,
        hits,
        tickets,
        counts_as,
        posterior.mean,
        posterior.low,
        posterior.high,
        seen_low,
        seen_high,
        drifts,
        proposed,
    )


def _written(number: Number, chance: float) -> Decimal:
    """As a person would write it: chances to a hundredth and never 0 or 1, shares to a tenth.

    Shares that are written as fractions, or of small totals, keep three digits of their total.
    """
    if number.kind == "share":
        step = Decimal("0.1") if number.unit >= SMALL_TOTAL else Decimal(10) ** (number.unit.adjusted() - 3)
        return max((Decimal(chance) * number.unit).quantize(step), step)
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
