"""What the rules would make of each answer to a question that has not been asked yet.

`reaches` finds, once per rulebook, what hangs on each fact a clerk can be asked: derived facts,
observations, checks, cautions. `answers_to` tries one value for every piece of the fact's range that a rule
can tell from the others, and re-evaluates only what hangs on the fact.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from triage.decide.causes.answer_values import try_values
from triage.decide.causes.inference import strata_of
from triage.decide.causes.ranking import Observation, RankingTables, ranking_tables
from triage.logic.conditions import Condition, Facts, FactValue, Truth, evaluate, facts_in
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Caution, Check, DeriveRule, Fact, Rulebook

Array: TypeAlias = NDArray[np.float64]
Seen: TypeAlias = tuple[int | None, ...]  # the state of each observation; None: not settled

LooksAt: TypeAlias = Callable[[Condition], frozenset[str]]

ANSWERS_KEPT = 4096
SETS_OF_CAUSES_KEPT = 256
NO_SHIFT = 1e-9  # a change of a chance too small to speak of


@dataclass(frozen=True, slots=True)
class Answers:
    """The answers to one question, those that come to the same put together.

    `given_cause` [answer, cause] is P(answer | cause); each column sums to 1. `may_do` has for each answer
    the ids of those of `touched` whose condition then holds. `dangers` are the cautions that hang on the
    question.
    """

    given_cause: Array
    touched: frozenset[str]
    may_do: tuple[frozenset[str], ...]
    dangers: tuple[Caution, ...]
    kept: dict[bytes, bool] = field(default_factory=dict)

    def matter(self, possible: NDArray[np.bool_], key: bytes) -> bool:
        """Whether a caution hangs on them, they open different checks, or they tell possible causes apart.

        `possible` says of each cause whether it is; `key` is the same as bytes, for the next report with it.
        """
        known = self.kept.get(key)
        if known is None:
            known = bool(self.dangers) or len(set(self.may_do)) > 1 or self._tell_apart(possible)
            if len(self.kept) >= SETS_OF_CAUSES_KEPT:
                self.kept.clear()
            self.kept[key] = known
        return known

    def _tell_apart(self, possible: NDArray[np.bool_]) -> bool:
        given = self.given_cause[:, possible]
        spread = given.max(axis=1, initial=0.0) - given.min(axis=1, initial=1.0)
        return bool((spread > NO_SHIFT).any())


@dataclass(frozen=True, slots=True)
class Reach:
    """Everything that hangs on `fact`, directly or through derived facts."""

    fact: Fact
    settles: tuple[tuple[str, tuple[DeriveRule, ...]], ...]  # derived facts, in the order they settle
    observations: tuple[Observation, ...]
    whens: tuple[Mapping[str, Condition], ...]  # the conditions of each observation's rules
    checks: tuple[Check, ...]
    cautions: tuple[Caution, ...]
    looks_at: tuple[str, ...]  # every fact that has a say in what an answer would do
    values: tuple[FactValue, ...]
    setters: Mapping[str, tuple[DeriveRule, ...]]
    redone: frozenset[str]  # the facts of `settles`
    causes: int
    kept: dict[tuple[FactValue | None, ...], Answers] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What one answer leads to."""

    seen: Seen
    may_do: frozenset[str]
    cautions: tuple[Truth, ...]


@once_per_rulebook
def reaches(rulebook: Rulebook) -> tuple[Reach, ...]:
    """What hangs on each fact asked of the clerk, in the rulebook's order; without facts of no effect."""
    settles = [item for stratum in strata_of(rulebook) for item in stratum.settles.items()]
    tables = ranking_tables(rulebook)
    asked = (fact for fact in rulebook.facts.values() if fact.asked_of == "clerk")
    looked = _remembering()
    found = (_reach(rulebook, tables, fact, settles, looked) for fact in asked)
    return tuple(reach for reach in found if reach.observations or reach.checks or reach.cautions)


def _remembering() -> LooksAt:
    """`facts_in`, walking each of the rulebook's conditions once."""
    known: dict[int, frozenset[str]] = {}
    return lambda each: known.get(id(each)) or known.setdefault(id(each), facts_in(each))


def _reach(
    rulebook: Rulebook,
    tables: RankingTables,
    fact: Fact,
    settles: Sequence[tuple[str, tuple[DeriveRule, ...]]],
    looked: LooksAt,
) -> Reach:
    affected, redone = {fact.id}, []
    for derived, rules in settles:
        if derived != fact.id and any(affected & looked(rule.head.when) for rule in rules):
            affected.add(derived)
            redone.append((derived, rules))
    whens = {rule.head.id: rule.head.when for rule in rulebook.evidence.values()}
    observations = [
        observation
        for observation in tables.observations
        if any(affected & looked(whens[rule]) for rule in observation.rules)
    ]
    checks = [
        check for check in rulebook.checks.values() if check.who == "clerk" and affected & looked(check.when)
    ]
    cautions = [
        caution
        for caution in rulebook.cautions.values()
        if caution.head.status == "live" and (caution.forbids or not caution.only_with_checks)
        if affected & looked(caution.head.when)
    ]
    conditions = [
        *(rule.head.when for _, rules in redone for rule in rules),
        *(whens[rule] for observation in observations for rule in observation.rules),
        *(check.when for check in checks),
        *(caution.head.when for caution in cautions),
    ]
    setters = dict(settles)
    looks_at = _inputs((fact_id for each in conditions for fact_id in looked(each)), setters, looked)
    return Reach(
        fact,
        tuple(redone),
        tuple(observations),
        tuple({rule: whens[rule] for rule in observation.rules} for observation in observations),
        tuple(checks),
        tuple(cautions),
        tuple(sorted(looks_at - {fact.id})),
        try_values(fact, conditions),
        setters,
        frozenset(fact for fact, _ in redone),
        len(tables.causes),
    )


def _inputs(facts: Iterable[str], setters: Mapping[str, tuple[DeriveRule, ...]], looked: LooksAt) -> set[str]:
    """The facts, and all that rules derive them from."""
    found: set[str] = set()
    waiting = list(facts)
    while waiting:
        fact = waiting.pop()
        if fact not in found:
            found.add(fact)
            waiting.extend(each for rule in setters.get(fact, ()) for each in looked(rule.head.when))
    return found


def answers_to(reach: Reach, facts: Facts, derived: Collection[str]) -> Answers:
    """The possible answers, given what is known. `derived` names those of `facts` that rules derived.

    P(answer | cause) is made of the rules' own numbers. It is exact where one observation hangs on the fact
    and every answer settles it. Otherwise these approximations are used, each chosen so that the answers'
    chances sum to 1 for every cause, and no value appears from nothing:
    - several observations hanging on one answer are taken as independent, and rescaled;
    - an answer that leaves an observation open, because k facts in all are still unknown, has the chance
      m ** (1/k), m being the chance of what it leaves possible (each of the k facts does an equal part);
      where the answers can settle every state and yet one leaves it open, that one has the chance 1/2;
    - values tried that differ only in the checks they open are equally likely;
    - an observation that is made already stays as it is; the discount of a shared mechanism is not looked
      ahead at.
    """
    key = tuple(map(facts.get, reach.looks_at))
    if not reach.redone.isdisjoint(derived):
        pairs = zip(reach.looks_at, key, strict=True)
        key = tuple([None if fact in reach.redone and fact in derived else value for fact, value in pairs])
    known = reach.kept.get(key)
    if known is None:
        base = {fact: value for fact, value in zip(reach.looks_at, key, strict=True) if value is not None}
        known = _answers(reach, base)
        if len(reach.kept) >= ANSWERS_KEPT:
            reach.kept.clear()
        reach.kept[key] = known
    return known


def _answers(reach: Reach, base: Mapping[str, FactValue]) -> Answers:
    now = _outcome(reach, base)
    outcomes = [_outcome(reach, {**base, reach.fact.id: value}) for value in reach.values]
    open_now = [index for index, state in enumerate(now.seen) if state is None]
    cells: dict[tuple[Seen, frozenset[str]], int] = {}
    for outcome in outcomes:
        cell = (tuple(outcome.seen[index] for index in open_now), outcome.may_do)
        cells[cell] = cells.get(cell, 0) + 1
    given_cause = _given_cause(reach, base, open_now, cells)
    dangers = [
        caution
        for index, caution in enumerate(reach.cautions)
        if now.cautions[index] is None and _may_come_true({outcome.cautions[index] for outcome in outcomes})
    ]
    touched = frozenset(check.id for check in reach.checks)
    return Answers(given_cause, touched, tuple(may_do for _, may_do in cells), tuple(dangers))


def _may_come_true(truths: set[Truth]) -> bool:
    """Whether an answer makes a caution true, or is needed before it can become so."""
    return True in truths or truths == {None, False}


def _outcome(reach: Reach, known: Mapping[str, FactValue]) -> _Outcome:
    facts = dict(known)
    for fact, rules in reach.settles:
        if fact not in facts:
            value = _derived_value(fact, rules, facts)
            if value is not None:
                facts[fact] = value
    seen = tuple(
        observation.seen({rule: evaluate(when, facts) for rule, when in whens.items()})
        for observation, whens in zip(reach.observations, reach.whens, strict=True)
    )
    may_do = frozenset(check.id for check in reach.checks if evaluate(check.when, facts))
    return _Outcome(seen, may_do, tuple(evaluate(caution.head.when, facts) for caution in reach.cautions))


def _derived_value(fact: str, rules: Iterable[DeriveRule], facts: Facts) -> FactValue | None:
    for rule in rules:
        truth = evaluate(rule.head.when, facts)
        value = None if truth is None else (rule.sets if truth else rule.otherwise).get(fact)
        if value is not None:
            return value
    return None


def _given_cause(
    reach: Reach, base: Facts, open_now: Sequence[int], cells: Mapping[tuple[Seen, frozenset[str]], int]
) -> Array:
    """P(cell | cause) as rows."""
    by_seen: dict[Seen, int] = {}
    for (seen, _), count in cells.items():
        by_seen[seen] = by_seen.get(seen, 0) + count
    chances: dict[Seen, Array] = dict.fromkeys(by_seen, np.ones(reach.causes))
    for place, index in enumerate(open_now):
        waiting = _waiting(reach, index, base)
        states = _state_chances(reach.observations[index], {seen[place] for seen in by_seen}, waiting)
        chances = {seen: chance * states[seen[place]] for seen, chance in chances.items()}
    total: Array = np.sum(list(chances.values()), axis=0)
    return np.array([chances[seen] / total * (count / by_seen[seen]) for (seen, _), count in cells.items()])


def _waiting(reach: Reach, index: int, base: Facts) -> int:
    """How many facts, the question's own included, an observation waits for."""
    found: set[str] = set()
    waiting = [fact for when in reach.whens[index].values() for fact in facts_in(when)]
    seen: set[str] = set()
    while waiting:
        fact = waiting.pop()
        if fact in base or fact in seen:
            continue
        seen.add(fact)
        rules = reach.setters.get(fact, ()) if fact != reach.fact.id else ()
        if not rules:
            found.add(fact)
        waiting.extend(each for rule in rules for each in facts_in(rule.head.when))
    return max(len(found), 1)


def _state_chances(
    observation: Observation, reached: set[int | None], waiting: int
) -> dict[int | None, Array | float]:
    """P(state | cause) over the states that the answers reach; see `answers_to` for the approximations."""
    if len(reached) == 1:
        return dict.fromkeys(reached, 1.0)
    settled = [state for state in reached if state is not None]
    sums: Array = np.sum([observation.states[state].given_cause for state in settled], axis=0)
    left_open: Array | float = 0.0
    if None in reached:
        every = len(settled) == len(observation.states)
        left_open = 0.5 if every else np.clip(1.0 - sums, 0.0, 1.0) ** (1.0 / waiting)
    chances: dict[int | None, Array | float] = {
        state: (1.0 - left_open) * observation.states[state].given_cause / sums for state in settled
    }
    if None in reached:
        chances[None] = left_open
    return chances
