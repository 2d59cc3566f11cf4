"""What to ask next: the unknown facts whose answers save most, net of the time to ask.

Value of information, one step ahead (Heckerman, Breese and Rommelse 1995): what a question saves is the
expected cost of the best plan now, less the mean, over the possible answers, of the expected cost of the
best plan after the answer, less what asking costs. How likely each answer is comes from the rules' own
numbers; `answers_to` and `look_ahead` state the approximations.

The first questions that a lead has marked for a symptom follow those about safety, in their order, whatever
they save: each may pay only once another is answered. What they save together is said with them, counted
over all their answers at once, which are taken as independent given the cause.

Questions that could make a caution true come first, whatever they save; of one that is only said beside
checks, where the plan has a check that it would forbid. A caution is about safety, not money:
what an answer would forbid is not counted in the saving. Facts that rules see only through a calculation
(such as a length behind a voltage drop) are not looked ahead at.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from triage.decide.causes.answer_effects import NO_SHIFT, Answers, Reach, answers_to, reaches
from triage.decide.causes.check_lattice import CheckTables, check_tables
from triage.decide.causes.checks import Plan, best_plan, cause_arrays, useful_checks
from triage.decide.causes.look_ahead import costs_ahead
from triage.decide.causes.ranking import cause_title, ranking_tables
from triage.logic.conditions import Facts
from triage.records.decision import Question
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Caution, Rulebook
from triage.values.money import as_money

Array: TypeAlias = NDArray[np.float64]


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
    plan: Plan | None = None,
    ask_first: Iterable[str] = (),
) -> tuple[Question, ...]:
    """The questions worth asking: safety first, then those of `ask_first`, then by falling saving.

    `facts` are all known facts; `derived` names those that rules derived. `chances`, `applicable`,
    `repair_cost` and `done` are as for `best_plan`; `forbidden` are the checks that a caution forbids now.
    `skip` are facts not to ask for, such as those the clerk could not answer. Asking takes `ask_seconds` of
    the clerk and of the agent, who costs as much as the clerk. A question that
    saves no more than the rulebook's `question_worth` is left out unless it is about safety or
    to be asked first.
    """
    tables = check_tables(rulebook)
    weights, ends = cause_arrays(tables, chances, repair_cost)
    possible = weights > 0
    key = possible.tobytes()
    candidates = [
        _Candidate(reach, answers)
        for reach in reaches(rulebook)
        if facts.get(reach.fact.id) is None and reach.fact.id not in skip
        for answers in [answers_to(reach, facts, derived)]
        if answers.matter(possible, key)
    ]
    if not candidates:
        return ()
    allowed = set(applicable) - set(done) - set(forbidden)
    barred = {*done, *forbidden}
    if plan is None:
        plan = best_plan(rulebook, chances, allowed, repair_cost, done)
    by_fact = {each.reach.fact.id: each for each in candidates}
    marked = [by_fact[fact] for fact in ask_first if fact in by_fact]
    places = {each.reach.fact.id: place for place, each in enumerate(marked)}
    tried = [*candidates, _together(marked)] if marked else candidates
    savings = _savings(tables, tried, weights, ends, allowed, barred, plan)
    store = rulebook.rates.store
    hour = 2 * store.clerk_hour
    worth = float(rulebook.tolerances.question_worth)
    found = []
    for candidate, saving in zip(candidates, savings, strict=False):
        fact = candidate.reach.fact
        net = saving - _asking(fact.ask_seconds, hour)
        safety = any(_at_stake(caution, plan) for caution in candidate.answers.dangers)
        if not safety and fact.id not in places and net <= worth:
            continue
        saves = as_money(net, rulebook.currency)
        if safety or fact.id in places or saves.amount > rulebook.tolerances.question_worth:
            found.append((candidate, saves, safety))
    found.sort(
        key=lambda item: (
            not item[2],
            0 if item[2] else places.get(item[0].reach.fact.id, len(places)),
            -item[1].amount,
            item[0].reach.fact.id,
        )
    )
    paid = savings[-1] - sum(_asking(each.reach.fact.ask_seconds, hour) for each in marked)
    amount = f"{as_money(paid, rulebook.currency).amount:f} {rulebook.currency}"
    said = f"{amount} on average" if paid > 0 else f"nothing on average ({amount})"
    they = "together they save" if len(marked) > 1 else "it saves"
    first = f"One of the first questions; {they} {said}, net of asking. "
    return tuple(
        Question(fact.id, fact.ask or f"{fact.title}?", saves, safety, first * (fact.id in places) + why)
        for candidate, saves, safety in found
        for fact in [candidate.reach.fact]
        for why in [_why(rulebook, tables, candidate, weights, barred)]
    )


def _together(candidates: Sequence[_Candidate]) -> _Candidate:
    """All the answers to some questions, as to one; a check is open once an answer to one opens it."""
    given = np.ones((1, candidates[0].answers.given_cause.shape[1]))
    may_do: list[frozenset[str]] = [frozenset()]
    for each in candidates:
        given = (given[:, None] * each.answers.given_cause).reshape(-1, given.shape[1])
        may_do = [before | opened for before in may_do for opened in each.answers.may_do]
    touched = frozenset().union(*(each.answers.touched for each in candidates))
    return _Candidate(candidates[0].reach, Answers(given, touched, tuple(may_do), ()))


def _at_stake(caution: Caution, plan: Plan) -> bool:
    """Whether it may matter now: one beside checks does where the plan has a check that it would forbid."""
    return not caution.only_with_checks or any(step.check in caution.forbids for step in plan.steps)


@lru_cache(maxsize=1024)
def _asking(seconds: int, hour: Decimal) -> float:
    """What the time to ask costs."""
    return float(seconds * hour / 3600)


def _savings(
    tables: CheckTables,
    candidates: list[_Candidate],
    weights: Array,
    ends: Array,
    allowed: set[str],
    barred: Collection[str],
    plan: Plan,
) -> list[float]:
    """What each question saves before the cost of asking; all answers are looked at in one pass."""
    opened = {check for each in candidates for may_do in each.answers.may_do for check in may_do}
    checks = useful_checks(tables, weights, allowed | opened, barred)
    cases = np.concatenate([each.answers.given_cause for each in candidates]) * weights
    may = _may_be_done(checks, candidates, allowed)
    least = costs_ahead(tables, checks, may, cases, ends, plan.groups)
    starts = np.cumsum([0, *(len(each.answers.may_do) for each in candidates)])[:-1]
    savings: list[float] = (plan.cost - np.add.reduceat(least, starts)).tolist()
    return savings


def _may_be_done(
    checks: tuple[str, ...], candidates: list[_Candidate], allowed: set[str]
) -> NDArray[np.bool_]:
    """[check, case]: may the check be done after each answer to each question?"""
    cases = sum(len(each.answers.may_do) for each in candidates)
    may = np.zeros((len(checks), cases), dtype=np.bool_)
    may[[index for index, check in enumerate(checks) if check in allowed]] = True
    place = {check: index for index, check in enumerate(checks)}
    case = 0
    for each in candidates:
        touched = [place[check] for check in each.answers.touched if check in place]
        for may_do in each.answers.may_do:
            for index in touched:
                may[index, case] = checks[index] in may_do
            case += 1
    return may


def _why(
    rulebook: Rulebook, tables: CheckTables, candidate: _Candidate, weights: Array, barred: Collection[str]
) -> str:
    """What the answer decides: the caution on it, the causes it tells apart, the checks it opens."""
    answers = candidate.answers
    said = [f"A caution depends on it: {caution.head.title}." for caution in answers.dangers]
    shifts = answers.given_cause * weights - np.outer(answers.given_cause @ weights, weights)
    sizes = np.abs(shifts).sum(axis=0)
    causes = [index for index in np.argsort(-sizes, kind="stable").tolist() if sizes[index] > NO_SHIFT]
    if causes:
        titles = _cause_titles(rulebook)
        first, favors = causes[0], shifts.argmax(axis=0)
        other = next((index for index in causes if favors[index] != favors[first]), None)
        said.append(
            f"It makes “{titles[first]}” more or less likely."
            if other is None
            else f"It tells “{titles[first]}” from “{titles[other]}”."
        )
    opened = frozenset().union(*answers.may_do) - frozenset.intersection(*answers.may_do)
    useful = useful_checks(tables, weights, opened, barred) if opened else ()
    said += [f"It shows whether “{rulebook.checks[check].title}” applies." for check in useful]
    return " ".join(said)


@once_per_rulebook
def _cause_titles(rulebook: Rulebook) -> tuple[str, ...]:
    return tuple(cause_title(rulebook, cause) for cause in ranking_tables(rulebook).causes)
