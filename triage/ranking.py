"""The chance of each cause, by exact Bayes under the single-fault assumption, with every factor shown.

    chance(cause) ∝ share(cause | symptoms) × Π over observations P(observed | cause)

An evidence rule outside a group is a yes/no observation: true gives p, false 1 − p, unknown nothing. A group
is one many-valued observation: the first true band gives its p; with every band false the remainder 1 − Σp;
with an unknown band before the first true one, nothing. A check that did not cure gives 1 − resolves.
Method: Lauritzen and Spiegelhalter (1988) for the exact posterior; here the network is a star, so that the
product above is exact. Sums are made in logarithms.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from triage.conditions import Truth
from triage.decision_record import CauseChance, Factor
from triage.errors import InputError, Problem
from triage.rulebook import OTHER_CAUSE, EvidenceRule, Rulebook
from triage.rulebook_cache import once_per_rulebook

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class State:
    """One thing an observation can show: the rule that names it, and P(shown | cause) for every cause."""

    rule: str
    text: str
    held: bool
    given_cause: Array


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
class RankingTables:
    """The rulebook's live evidence as arrays over `causes`, built once per rulebook by `ranking_tables`."""

    causes: tuple[str, ...]
    shares: Mapping[str, Array]  # symptom -> normalised shares
    observations: tuple[Observation, ...]
    not_cured: Mapping[str, State]  # check -> the observation that it did not cure


@once_per_rulebook
def ranking_tables(rulebook: Rulebook) -> RankingTables:
    """The tables of a rulebook. Drafts and retired rules are left out."""
    named = {cause for symptom in rulebook.symptoms.values() for cause in symptom.shares}
    named |= {cause for check in rulebook.checks.values() for cause in check.resolves}
    causes = tuple(sorted(named | set(rulebook.causes) | {OTHER_CAUSE}))
    shares = {}
    for symptom in rulebook.symptoms.values():
        counts = np.array([float(symptom.shares.get(cause, 0)) for cause in causes])
        if counts.sum() > 0:
            shares[symptom.id] = counts / counts.sum()
    not_cured = {
        check.id: State(
            check.id,
            f"{check.title}: did not cure it",
            False,
            np.array([1.0 - float(check.resolves.get(cause, 0.0)) for cause in causes]),
        )
        for check in rulebook.checks.values()
    }
    return RankingTables(causes, shares, tuple(_observations(rulebook, causes)), not_cured)


def _observations(rulebook: Rulebook, causes: Sequence[str]) -> Iterable[Observation]:
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
            )
            for rule in rules
        ]
        text = rules[0].head.title if kind == "rule" else f"none of the bands of {name}"
        remainder = 1.0 - np.sum([band.given_cause for band in bands], axis=0)
        yield Observation(
            tuple(rule.head.id for rule in rules), (*bands, State(name, text, False, remainder))
        )


def rank(
    rulebook: Rulebook,
    symptoms: Iterable[str],
    evidence_truths: Mapping[str, Truth],
    checks_not_cured: Sequence[str] = (),
) -> tuple[CauseChance, ...]:
    """Every cause with a share in a reported symptom, and `other`; the likeliest first (ties by id).

    `symptoms` are ids; with several, the prior is the mean of their normalised shares. `evidence_truths` has
    the truth of each evidence rule by id; a missing one is unknown. `checks_not_cured` are ids of checks that
    were done; a repeated id counts once. Chances sum to 1 within 1e-12, and chance = share × Π factors.
    Where checks that always cure have ruled out every cause, all chance goes to `other`.
    Raises InputError on an unknown symptom or check, or on no symptom.
    """
    tables = ranking_tables(rulebook)
    prior = _prior(tables, tuple(dict.fromkeys(symptoms)))
    states = _seen(tables, evidence_truths, checks_not_cured)
    listed = (prior > 0) | np.array([cause == OTHER_CAUSE for cause in tables.causes])
    causes = [cause for cause, is_listed in zip(tables.causes, listed, strict=True) if is_listed]
    prior = prior[listed]
    given = np.array([state.given_cause[listed] for state in states]).reshape(len(states), len(causes))
    with np.errstate(divide="ignore"):
        steps = np.vstack([np.log(prior), np.log(given)])
    running = np.cumsum(steps, axis=0)
    totals = _log_sum(running)
    with np.errstate(invalid="ignore"):
        means = np.diff(totals)
    factors = np.exp(steps[1:] - np.where(np.isfinite(means), means, 0.0)[:, None])
    chances = _normalised(running[-1], causes)
    columns = zip(causes, chances.tolist(), prior.tolist(), given.T.tolist(), factors.T.tolist(), strict=True)
    ranked = [
        CauseChance(
            cause,
            cause_title(rulebook, cause),
            chance,
            share,
            tuple(
                Factor(state.rule, state.text, state.held, probability, factor)
                for state, probability, factor in zip(states, probabilities, weights, strict=True)
            ),
        )
        for cause, chance, share, probabilities, weights in columns
    ]
    return tuple(sorted(ranked, key=lambda each: (-each.chance, each.cause)))


def _prior(tables: RankingTables, symptoms: Sequence[str]) -> Array:
    unknown = [symptom for symptom in symptoms if symptom not in tables.shares]
    if unknown or not symptoms:
        known = ", ".join(sorted(tables.shares))
        raise InputError(
            [Problem(f"{symptom} is no symptom of this rulebook; it knows {known}") for symptom in unknown]
            or [Problem(f"a report names at least one symptom; this rulebook knows {known}")]
        )
    mean: Array = np.mean([tables.shares[symptom] for symptom in symptoms], axis=0)
    return mean


def _seen(tables: RankingTables, truths: Mapping[str, Truth], checks: Sequence[str]) -> list[State]:
    unknown = [check for check in checks if check not in tables.not_cured]
    if unknown:
        raise InputError([Problem(f"{check} is no check of this rulebook") for check in unknown])
    shown = ((observation, observation.seen(truths)) for observation in tables.observations)
    states = [observation.states[index] for observation, index in shown if index is not None]
    return states + [tables.not_cured[check] for check in dict.fromkeys(checks)]


def _log_sum(logs: Array) -> Array:
    """log Σ exp over the last axis; −inf for a row of −inf."""
    top = np.max(logs, axis=-1, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        sums: Array = np.log(np.sum(np.exp(logs - top), axis=-1)) + top[..., 0]
    return sums


def _normalised(logs: Array, causes: Sequence[str]) -> Array:
    if not np.any(np.isfinite(logs)):
        return np.array([1.0 if cause == OTHER_CAUSE else 0.0 for cause in causes])
    weights = np.exp(logs - np.max(logs))
    chances: Array = weights / weights.sum()
    return chances


def cause_title(rulebook: Rulebook, cause: str) -> str:
    """What people call a cause."""
    known = rulebook.causes.get(cause)
    return known.title if known else "Another cause" if cause == OTHER_CAUSE else cause
