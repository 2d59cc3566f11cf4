"""Whether two faults are likelier than one, and the plan of checks for both.

The ranking asks which single cause made the symptoms; its leak leaves room for a symptom from elsewhere.
Where the causes that explain only some of the symptoms are together likelier than those that explain all,
there are likely two faults: the likeliest cause of some, and one of what it leaves unexplained. Three are
not looked for.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import fsum

from triage.decide.causes.check_lattice import check_tables
from triage.decide.causes.checks import Plan, best_plan
from triage.decide.causes.ranking import rank, ranking_tables
from triage.logic.conditions import Truth
from triage.records.decision import CauseChance, Fault, PlanStep
from triage.rulebook.model import OTHER_CAUSE, Rulebook


@dataclass(frozen=True, slots=True)
class OneOfTwo:
    """One of two faults: the symptoms it makes, and the chance of each cause of it."""

    symptoms: tuple[str, ...]
    causes: tuple[CauseChance, ...]

    @property
    def chances(self) -> dict[str, float]:
        return {each.cause: each.chance for each in self.causes}

    @property
    def said(self) -> Fault:
        top = self.causes[0]
        return Fault(self.symptoms, top.cause, top.title, top.chance)


def two_faults(
    rulebook: Rulebook,
    symptoms: Sequence[str],
    causes: Sequence[CauseChance],
    evidence_truths: Mapping[str, Truth],
    checks_not_cured: Sequence[str],
) -> tuple[OneOfTwo, ...]:
    """Both faults, that of the likeliest cause first; empty where one is likelier.

    `causes` are those of `rank` for the same symptoms (each once) and findings. `other` explains anything,
    and so speaks for neither.
    """
    if len(symptoms) < 2:
        return ()
    tables = ranking_tables(rulebook).symptoms
    named = [each for each in causes if each.cause != OTHER_CAUSE]
    made = {each.cause: tables.explained(symptoms, each.cause) for each in named}
    partly = [each for each in named if len(made[each.cause]) < len(symptoms)]
    if fsum(each.chance for each in named) >= 2 * fsum(each.chance for each in partly):
        return ()
    first = made[partly[0].cause]
    sides = ([each for each in symptoms if (each in first) is mine] for mine in (True, False))
    return tuple(
        OneOfTwo(tuple(side), rank(rulebook, side, evidence_truths, checks_not_cured)) for side in sides
    )


def plan_for_both(
    rulebook: Rulebook,
    faults: Sequence[OneOfTwo],
    applicable: Iterable[str],
    repair_cost: Mapping[str, float],
    done: Collection[str] = (),
    first: Sequence[str] = (),
) -> Plan:
    """The best plan of each fault, one after the other; arguments as for `best_plan`.

    A check stands once, and the second plan takes the first one's checks as done. Somebody sent for both
    comes once: of two visits, the least that a visit costs is taken off. `unsolved` is the chance that a
    fault is left. Every check's result makes a new plan.
    """
    one, other = faults
    allowed = frozenset(applicable)
    plan = best_plan(rulebook, one.chances, allowed, repair_cost, done, first)
    tried = [step.check for step in plan.steps]
    cures = check_tables(rulebook)
    left = other.chances
    for check in tried:
        left = {
            cause: chance * (1.0 - float(cures.cures[check][cures.causes[cause]]))
            for cause, chance in left.items()
        }
    then = best_plan(rulebook, left, allowed, repair_cost, [*done, *tried])
    second_alone = fsum(repair_cost[cause] * chance for cause, chance in other.chances.items())
    visit = min(repair_cost[cause] for fault in faults for cause in fault.chances)
    both = plan.unsolved * then.unsolved
    return Plan(
        (*plan.steps, *(_later(step, len(plan.steps)) for step in then.steps)),
        plan.cost + then.cost - both * visit,
        plan.dispatch_now + second_alone - visit,
        plan.unsolved + then.unsolved - both,
        plan.exact and then.exact,
    )


def _later(step: PlanStep, after: int) -> PlanStep:
    """The step of the second plan, its group numbered on from those of the first."""
    return replace(step, group=step.group + after) if step.group else step


def two_faults_said(rulebook: Rulebook, faults: Sequence[OneOfTwo]) -> tuple[str, ...]:
    """The note on them, if there are two."""
    if not faults:
        return ()
    each = "; ".join(
        f"{' and '.join(rulebook.symptoms[symptom].title for symptom in fault.symptoms)}, most likely "
        f"“{fault.said.title}” ({fault.said.chance:.0%})"
        for fault in faults
    )
    return (
        f"Two faults are likely, since no one cause is likely to explain all symptoms: {each}. The checks "
        "are for both, and it is fixed once both are gone. A repair's cost is counted for one of them.",
    )
