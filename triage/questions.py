"""What to ask next: the unknown facts whose answers save most, net of the time to ask.

Value of information, one step ahead (Heckerman, Breese and Rommelse 1995): what a question saves is the
expected cost of the best plan now, less the mean, over the possible answers, of the expected cost of the
best plan after the answer, less what asking costs. How likely each answer is comes from the rules' own
numbers; `answers_to` states the approximations.

Questions that could make a caution true come first, whatever they save. A caution is about safety, not money:
what an answer would forbid is not counted in the saving. Facts that rules see only through a calculation
(such as a length behind a voltage drop) are not looked ahead at.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from triage.answers import Answers, Reach, answers_to, reaches
from triage.checks import (
    EXACT_LIMIT,
    CheckTables,
    cause_arrays,
    check_tables,
    plan_costs,
    useful_checks,
)
from triage.conditions import Facts
from triage.decision_record import Question
from triage.money import as_money
from triage.ranking import cause_title, ranking_tables
from triage.rulebook import Rulebook
from triage.rulebook_cache import once_per_rulebook

Array: TypeAlias = NDArray[np.float64]

NOT_TO_BE_DONE = 1e15  # the cost of a check whose condition does not hold
NO_SHIFT = 1e-9  # a change of a chance too small to speak of


@dataclass(frozen=True, slots=True)
class _Candidate:
    reach: Reach
    answers: Answers


def next_questions(
    rulebook: Rulebook,
    facts: Facts,
    chances: Mapping[str, float],
    applicable: Iterable[str],
    repair_cost: Mapping[str, float],
    *,
    derived: Collection[str] = (),
    done: Collection[str] = (),
    forbidden: Collection[str] = (),
    skip: Collection[str] = (),
    agent_hour: Decimal | None = None,
    at_most: int | None = None,
) -> tuple[Question, ...]:
    """The questions worth asking, safety first, then by falling saving.

    `facts` are all known facts; `derived` names those that rules derived. `chances`, `applicable`,
    `repair_cost` and `done` are as for `best_plan`; `forbidden` are the checks that a caution forbids now.
    `skip` are facts not to ask for, such as those the clerk could not answer. Asking takes `ask_seconds` of
    the clerk and of the agent, who costs `agent_hour` (default: as much as the clerk). A question that
    saves no more than the rulebook's `question_worth` is left out unless it is about safety.
    """
    candidates = [
        _Candidate(reach, answers_to(reach, facts, derived))
        for reach in reaches(rulebook)
        if facts.get(reach.fact.id) is None and reach.fact.id not in skip
    ]
    tables = check_tables(rulebook)
    weights, ends = cause_arrays(tables, chances, repair_cost)
    candidates = _that_matter(candidates, weights > 0)
    if not candidates:
        return ()
    allowed = set(applicable) - set(done) - set(forbidden)
    barred = {*done, *forbidden}
    savings = _savings(tables, candidates, weights, ends, allowed, barred)
    store = rulebook.rates.store
    hour = store.clerk_hour + (store.clerk_hour if agent_hour is None else agent_hour)
    worth = float(rulebook.tolerances.question_worth)
    found = []
    for candidate, saving in zip(candidates, savings, strict=True):
        fact = candidate.reach.fact
        net = saving - float(fact.ask_seconds * hour / 3600)
        safety = bool(candidate.answers.dangers)
        if not safety and net <= worth:
            continue
        saves = as_money(net, rulebook.currency)
        if safety or saves.amount > rulebook.tolerances.question_worth:
            found.append((Question(fact.id, fact.ask or f"{fact.title}?", saves, safety, ""), candidate))
    found.sort(key=lambda item: (not item[0].safety, -item[0].saves.amount, item[0].fact))
    return tuple(
        Question(question.fact, question.ask, question.saves, question.safety, why)
        for question, candidate in found[:at_most]
        for why in [_why(rulebook, tables, candidate, weights, barred)]
    )


def _that_matter(candidates: list[_Candidate], possible: NDArray[np.bool_]) -> list[_Candidate]:
    """Those on which a caution hangs, whose answers open different checks, or tell possible causes apart."""
    if not candidates:
        return []
    given = np.concatenate([each.answers.given_cause for each in candidates])[:, possible]
    spread = given.max(axis=1, initial=0.0) - given.min(axis=1, initial=1.0)
    starts = np.cumsum([0, *(len(each.answers.may_do) for each in candidates)])[:-1]
    tells = (np.maximum.reduceat(spread, starts) > NO_SHIFT).tolist()
    return [
        each
        for each, tells_causes in zip(candidates, tells, strict=True)
        if tells_causes or each.answers.dangers or len(set(each.answers.may_do)) > 1
    ]


def _savings(
    tables: CheckTables,
    candidates: list[_Candidate],
    weights: Array,
    ends: Array,
    allowed: set[str],
    barred: Collection[str],
) -> list[float]:
    """What each question saves before the cost of asking: one dynamic programme for all answers at once."""
    opened = {check for each in candidates for may_do in each.answers.may_do for check in may_do}
    wanted = useful_checks(tables, weights, allowed | opened, barred)
    check_set = tables.check_set(_most_promising(tables, wanted, weights))
    now = np.ones((1, len(weights)))
    given_cause = np.concatenate([now, *(each.answers.given_cause for each in candidates)])
    may_be_done = _may_be_done(check_set.checks, candidates, allowed)
    costs = np.where(may_be_done, check_set.costs[:, None], NOT_TO_BE_DONE)
    if may_be_done.all():
        costs = check_set.costs[:, None]
    least = plan_costs(check_set, (given_cause * weights).T, ends, costs)[0]
    starts = np.cumsum([1, *(len(each.answers.may_do) for each in candidates)])[:-1]
    savings: list[float] = (least[0] - np.add.reduceat(least, starts)).tolist()
    return savings


def _may_be_done(
    checks: tuple[str, ...], candidates: list[_Candidate], allowed: set[str]
) -> NDArray[np.bool_]:
    """[check, case]: may the check be done now (the first case), and after each answer to each question?"""
    cases = 1 + sum(len(each.answers.may_do) for each in candidates)
    may = np.zeros((len(checks), cases), dtype=np.bool_)
    may[[index for index, check in enumerate(checks) if check in allowed]] = True
    case = 1
    for each in candidates:
        touched = [index for index, check in enumerate(checks) if check in each.answers.touched]
        for may_do in each.answers.may_do:
            for index in touched:
                may[index, case] = checks[index] in may_do
            case += 1
    return may


def _most_promising(tables: CheckTables, checks: tuple[str, ...], weights: Array) -> tuple[str, ...]:
    """At most EXACT_LIMIT checks, by chance/cost: looking ahead is exact over these."""
    if len(checks) <= EXACT_LIMIT:
        return checks
    by_worth = sorted(
        checks, key=lambda check: -float(tables.cures[check] @ weights) / max(tables.costs[check], 1e-9)
    )
    return tuple(sorted(by_worth[:EXACT_LIMIT]))


def _why(
    rulebook: Rulebook, tables: CheckTables, candidate: _Candidate, weights: Array, barred: Collection[str]
) -> str:
    """What the answer decides: the caution on it, the causes it tells apart, the checks it opens."""
    answers = candidate.answers
    said = [f"A caution hangs on it: {caution.head.title}." for caution in answers.dangers]
    shifts = answers.given_cause * weights - np.outer(answers.given_cause @ weights, weights)
    sizes = np.abs(shifts).sum(axis=0)
    causes = [index for index in np.argsort(-sizes, kind="stable").tolist() if sizes[index] > NO_SHIFT]
    if causes:
        titles = _cause_titles(rulebook)
        first, favours = causes[0], shifts.argmax(axis=0)
        other = next((index for index in causes if favours[index] != favours[first]), None)
        said.append(
            f"It makes “{titles[first]}” more or less likely."
            if other is None
            else f"It tells “{titles[first]}” from “{titles[other]}”."
        )
    opened = frozenset().union(*answers.may_do) - frozenset.intersection(*answers.may_do)
    useful = useful_checks(tables, weights, opened, barred)
    said += [f"It shows whether “{rulebook.checks[check].title}” applies." for check in useful]
    return " ".join(said)


@once_per_rulebook
def _cause_titles(rulebook: Rulebook) -> tuple[str, ...]:
    return tuple(cause_title(rulebook, cause) for cause in ranking_tables(rulebook).causes)
