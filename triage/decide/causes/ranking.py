"""The chance of each cause, by exact Bayes under the single-fault assumption, with every factor shown.

    chance(cause) ∝ share(cause | symptoms) × Π over observations P(observed | cause)

Observations of one `mechanism` (dust, neglect, heat) go together, and are no independent witnesses: each of n
that are known counts to the power 1 / (1 + discount × (n − 1)), the discount being the rulebook's. It was
chosen against a latent class by simulation (`tests/triage/decide/causes/test_mechanisms.py`).
What several symptoms say together stands in `symptoms`.
An evidence rule outside a group is a yes/no observation: true gives p, false 1 − p, unknown nothing. A group
is one many-valued observation: the first true band gives its p; with every band false the remainder 1 − Σp;
with an unknown band before the first true one, nothing. A check that did not cure gives 1 − resolves.
Method: Lauritzen and Spiegelhalter (1988) for the exact posterior; here the network is a star, so that the
product above is exact. Sums are made in logarithms.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import count

import numpy as np
from numpy.typing import NDArray

from triage.decide.causes.symptoms import SymptomTables, symptom_tables
from triage.logic.conditions import Truth
from triage.records.decision import CauseChance, Factor
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import OTHER_CAUSE, EvidenceRule, Rulebook
from triage.values.errors import InputError, Problem

Array = NDArray[np.float64]

PRIORS_KEPT = 128

_factor: Callable[[Iterable[object]], Factor] = partial(tuple.__new__, Factor)
"""`Factor._make` without its step through Python: a decision makes a hundred of them."""


@dataclass(frozen=True, slots=True)
class State:
    """One thing an observation can show: the rule that names it, and P(shown | cause) for every cause."""

    rule: str
    text: str
    held: bool
    given_cause: Array
    number: int  # its row in `Prior.given_cause`
    mechanism: str | None = None


@dataclass(frozen=True, slots=True)
class Observation:
    """An evidence rule, or the bands of one group. `states` has one for each band, then "none of them"."""

    rules: tuple[str, ...]
    states: tuple[State, ...]

    def seen(self, truths: Mapping[str, Truth]) -> int | None:
        """The index of the state the truths show; None where that is not known."""
        for index, rule in enumerate(self.rules):
            truth = truths.get(rule)
            if truth is None:
                return None
            if truth:
                return index
        return len(self.rules)


@dataclass(frozen=True, slots=True)
class Prior:
    """What some symptoms say before any observation, over the causes that they leave."""

    causes: tuple[str, ...]
    shares: Array
    log_shares: Array
    given_cause: Array  # [state, cause], every state of the rulebook
    log_given_cause: Array


@dataclass(frozen=True, slots=True)
class RankingTables:
    """The rulebook's live evidence as arrays over `causes`, built once per rulebook by `ranking_tables`."""

    causes: tuple[str, ...]
    symptoms: SymptomTables
    observations: tuple[Observation, ...]
    not_cured: Mapping[str, State]  # check -> the observation that it did not cure
    priors: dict[tuple[str, ...], Prior]  # those asked for so far

    def prior(self, symptoms: tuple[str, ...]) -> Prior:
        """The prior of the symptoms; kept for the next report of them."""
        known = self.priors.get(symptoms)
        if known is None:
            known = self._prior(symptoms)
            if len(self.priors) >= PRIORS_KEPT:
                self.priors.clear()
            self.priors[symptoms] = known
        return known

    def _prior(self, symptoms: tuple[str, ...]) -> Prior:
        listed = self.symptoms.listed(symptoms)
        shares = self.symptoms.prior(symptoms)[listed]
        given = np.array([state.given_cause[listed] for state in self._states()]).reshape(-1, len(shares))
        with np.errstate(divide="ignore"):
            logs, given_logs = np.log(shares), np.log(given)
        causes = (cause for cause, is_listed in zip(self.causes, listed, strict=True) if is_listed)
        return Prior(tuple(causes), shares, logs, given, given_logs)

    def _states(self) -> Iterator[State]:
        """Every state, by number."""
        for observation in self.observations:
            yield from observation.states
        yield from self.not_cured.values()


@once_per_rulebook
def ranking_tables(rulebook: Rulebook) -> RankingTables:
    """The tables of a rulebook. Drafts and retired rules are left out."""
    named = {cause for symptom in rulebook.symptoms.values() for cause in symptom.shares}
    named |= {cause for check in rulebook.checks.values() for cause in check.resolves}
    causes = tuple(sorted(named | set(rulebook.causes) | {OTHER_CAUSE}))
    numbers = count()
    observations = tuple(_observations(rulebook, causes, numbers))
    not_cured = {
        check.id: State(
            check.id,
            f"{check.title}: did not fix it",
            False,
            np.array([1.0 - float(check.resolves.get(cause, 0.0)) for cause in causes]),
            next(numbers),
        )
        for check in rulebook.checks.values()
    }
    return RankingTables(causes, symptom_tables(rulebook, causes), observations, not_cured, {})


def _observations(rulebook: Rulebook, causes: Sequence[str], numbers: Iterator[int]) -> Iterator[Observation]:
    live = [rule for rule in rulebook.evidence.values() if rule.head.status == "live"]
    bundles: dict[tuple[str, str], list[EvidenceRule]] = {}
    for rule in live:
        key = ("rule", rule.head.id) if rule.group is None else ("group", rule.group)
        bundles.setdefault(key, []).append(rule)
    for (kind, name), rules in bundles.items():
        rules.sort(key=lambda rule: (rule.band, rule.head.id))
        bands = [
            State(
                rule.head.id,
                rule.head.title,
                True,
                np.array([rule.chance_given(cause) for cause in causes]),
                next(numbers),
                rule.mechanism,
            )
            for rule in rules
        ]
        text = rules[0].head.title if kind == "rule" else f"none of the bands of {name}"
        remainder = 1.0 - np.sum([band.given_cause for band in bands], axis=0)
        none = State(name, text, False, remainder, next(numbers), rules[0].mechanism)
        yield Observation(tuple(rule.head.id for rule in rules), (*bands, none))


def rank(
    rulebook: Rulebook,
    symptoms: Iterable[str],
    evidence_truths: Mapping[str, Truth],
    checks_not_cured: Sequence[str] = (),
) -> tuple[CauseChance, ...]:
    """Every cause with a share in a reported symptom, and `other`; the likeliest first (ties by id).

    `symptoms` are ids. `evidence_truths` has the truth of each evidence rule by id; a missing one is
    unknown. `checks_not_cured` are ids of checks that were done; a repeated id counts once. Chances sum
    to 1 within 1e-12, and chance = share × Π factors. Where checks that always cure have ruled out every
    cause, all chance goes to `other`.
    Raises InputError on an unknown symptom or check, or on no symptom.
    """
    tables = ranking_tables(rulebook)
    prior = _prior(tables, tuple(dict.fromkeys(symptoms)))
    states = _seen(tables, evidence_truths, checks_not_cured)
    shown = [state.number for state in states]
    given = prior.given_cause[shown]
    steps = np.empty((len(shown) + 1, len(prior.causes)))
    powers = _powers(states, rulebook.tolerances.mechanism_discount)
    steps[0], steps[1:] = prior.log_shares, prior.log_given_cause[shown] * powers[:, None]
    running = steps.cumsum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        totals = _log_sum(running)
        means = totals[1:] - totals[:-1]
    factors = np.exp(steps[1:] - np.where(np.isfinite(means), means, 0.0)[:, None])
    chances = _normalized(running[-1], prior.causes)
    rules = [state.rule for state in states]
    texts = [
        state.text
        if power == 1
        else f"{state.text} (counted at {power:.0%}, with others of {state.mechanism})"
        for state, power in zip(states, powers.tolist(), strict=True)
    ]
    held = [state.held for state in states]
    ranked = [
        CauseChance(
            cause,
            cause_title(rulebook, cause),
            chance,
            share,
            tuple(map(_factor, zip(rules, texts, held, probabilities, weights, strict=True))),
        )
        for cause, chance, share, probabilities, weights in zip(
            prior.causes,
            chances.tolist(),
            prior.shares.tolist(),
            given.T.tolist(),
            factors.T.tolist(),
            strict=True,
        )
    ]
    return tuple(sorted(ranked, key=lambda each: (-each.chance, each.cause)))


def _prior(tables: RankingTables, symptoms: tuple[str, ...]) -> Prior:
    unknown = [symptom for symptom in symptoms if symptom not in tables.symptoms.shares]
    if unknown or not symptoms:
        known = ", ".join(sorted(tables.symptoms.shares))
        raise InputError(
            [Problem(f"{symptom} is no symptom of this rulebook; it knows {known}") for symptom in unknown]
            or [Problem(f"a report names at least one symptom; this rulebook knows {known}")]
        )
    return tables.prior(symptoms)


def _seen(tables: RankingTables, truths: Mapping[str, Truth], checks: Sequence[str]) -> list[State]:
    unknown = [check for check in checks if check not in tables.not_cured]
    if unknown:
        raise InputError([Problem(f"{check} is no check of this rulebook") for check in unknown])
    known = [each for each in tables.observations if truths.get(each.rules[0]) is not None]
    shown = ((observation, observation.seen(truths)) for observation in known)
    states = [observation.states[index] for observation, index in shown if index is not None]
    return states + [tables.not_cured[check] for check in dict.fromkeys(checks)]


def _powers(states: Sequence[State], discount: float) -> Array:
    """What each observation counts, 1 where it shares no mechanism."""
    known = Counter(state.mechanism for state in states)
    return np.array(
        [
            1.0 if each.mechanism is None else 1 / (1 + discount * (known[each.mechanism] - 1))
            for each in states
        ]
    )


def _log_sum(logs: Array) -> Array:
    """log Σ exp over the last axis; −inf for a row of −inf, which divides by zero."""
    top = logs.max(axis=-1, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    sums: Array = np.log(np.exp(logs - top).sum(axis=-1)) + top[..., 0]
    return sums


def _normalized(logs: Array, causes: Sequence[str]) -> Array:
    if not np.isfinite(logs).any():
        return np.array([1.0 if cause == OTHER_CAUSE else 0.0 for cause in causes])
    weights = np.exp(logs - logs.max())
    chances: Array = weights / weights.sum()
    return chances


def cause_title(rulebook: Rulebook, cause: str) -> str:
    """What people call a cause."""
    known = rulebook.causes.get(cause)
    return known.title if known else "Another cause" if cause == OTHER_CAUSE else cause
