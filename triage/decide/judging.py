"""What a report costs, what may be spent, and what policy says to that, by how urgently someone is sent.

Whether a visit is paid after hours hangs on its urgency, which a policy rule may set; and policy rules look
at what a visit costs. So a first guess is judged (the cautions' urgency, or the default one), then judged
again at the urgency that came of it. From there on it only ever becomes more urgent: of two passes that
disagree the more urgent wins. So there are no more passes than a rulebook has priorities, and one more than
the first where no rule hangs its urgency on money.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from triage.decide.causes.checks import Plan, best_plan
from triage.decide.causes.inference import Inference, fired_policy
from triage.decide.causes.two_faults import OneOfTwo, plan_for_both
from triage.decide.computed_facts import fault_facts, life_facts, life_of, money_facts, warranty_facts
from triage.decide.dangers import Dangers
from triage.decide.facts import spent_12_months
from triage.decide.outcome import CautionsThatHold, Situation, Verdict, decide_outcome, solved_verdict
from triage.decide.spending.limits import Standing, standing_limit
from triage.decide.spending.repair_costs import Job, job_for
from triage.decide.visit import Lateness, lateness, urgency, usual_priority
from triage.logic.conditions import FactValue
from triage.logic.engine import Engine
from triage.machine.lifecycle.life_numbers import LifeNumbers
from triage.records.decision import CauseChance, WarrantyAnswer
from triage.records.report import History, Machine, Report, local_date
from triage.rulebook.built_in_facts import LIMIT_DAY
from triage.rulebook.model import Rulebook
from triage.values.money import Money


@dataclass(frozen=True, slots=True)
class Case:
    """A report as far as it is known before money is looked at. `on` is the day of the report."""

    rulebook: Rulebook
    engine: Engine
    report: Report
    machine: Machine | None
    history: History
    now: datetime
    on: date
    inference: Inference
    dangers: Dangers
    live: CautionsThatHold
    causes: tuple[CauseChance, ...]
    faults: tuple[OneOfTwo, ...]
    warranty: WarrantyAnswer
    allowed: Sequence[str]  # checks that may be done
    done: Sequence[str]
    first: Sequence[str]  # checks to do before any other
    cured: str | None  # the check that fixed it

    @property
    def chances(self) -> dict[str, float]:
        return {each.cause: each.chance for each in self.causes}

    @property
    def danger_stands(self) -> bool:
        return bool(self.dangers.open or self.dangers.first)

    @property
    def solved(self) -> bool:
        return self.cured is not None and not self.live.stop_use and not self.danger_stands


@dataclass(frozen=True, slots=True)
class Judged:
    """A case with its money and its one outcome, for somebody who is sent with `priority`.

    `computed` are the facts that policy saw beside those that are known, `seen` both; `argued` are the ids of
    the policy rules that fired.
    """

    priority: int
    late: Lateness
    job: Job
    plan: Plan
    standing: Standing
    computed: Mapping[str, FactValue]
    seen: Mapping[str, FactValue]
    life: LifeNumbers | None
    argued: Sequence[str]
    verdict: Verdict


def judged(case: Case) -> Judged:
    """The case at the urgency at which someone is sent.

    An estimate is of a visit that somebody was sent for: it is paid as that visit is, though the rules that
    sent it are silent once there is an estimate. What is to come after it has the urgency that they say now.
    """
    if case.report.estimate is None:
        guess = _at(case, usual_priority(case.rulebook, case.live))
        return _settled(case, _again(case, guess, _said(case, guess)))
    sent = judged(replace(case, report=replace(case.report, estimate=None)))
    found = _settled(case, _at(case, sent.priority))
    return replace(found, priority=_said(case, found))


def _settled(case: Case, found: Judged) -> Judged:
    while (said := _said(case, found)) < found.priority:
        found = _again(case, found, said)
    return found


def _said(case: Case, found: Judged) -> int:
    return urgency(case.rulebook, case.live, found.verdict)


def _again(case: Case, found: Judged, priority: int) -> Judged:
    """The case at another urgency; policy need not speak again where that changes nothing of the price."""
    if found.late == lateness(case.rulebook, case.report, case.machine, priority):
        return replace(found, priority=priority)
    return _at(case, priority)


def _at(case: Case, priority: int) -> Judged:
    rulebook, report, machine, live = case.rulebook, case.report, case.machine, case.live
    known, today = case.inference.facts, local_date(machine, case.now)
    late = lateness(rulebook, report, machine, priority)
    sides = "all" if live.stop_use else known.get("sides_affected")
    job = job_for(rulebook, case.chances, machine, late.paid, case.on, today, report.estimate, sides)
    if case.faults:
        plan = plan_for_both(rulebook, case.faults, case.allowed, job.sending, case.done, case.first)
    else:
        plan = best_plan(rulebook, case.chances, case.allowed, job.sending, case.done, case.first)

    fixed = case.cured is not None and (live.stop_use or not case.danger_stands)
    computed = {
        **fault_facts(rulebook, report, case.causes, live, fixed, sure=not case.faults),
        **warranty_facts(rulebook, machine, case.warranty, job, case.on),
        "after_hours": late.after_hours,
    }
    standing = standing_limit(
        rulebook,
        {**known, LIMIT_DAY: today, **computed},
        _amount(case.history.spent_on_ticket),
        spent_12_months(machine, case.history, case.now),
        _amount(case.history.promised),
    )
    computed |= money_facts(rulebook, machine, plan, job, standing, today)
    life = life_of(rulebook, machine, case.history, job, case.now)
    computed |= life_facts(rulebook, life)
    seen = {**known, LIMIT_DAY: today, **computed}

    argued: Sequence[str] = ()
    if case.solved and case.cured is not None:
        verdict = solved_verdict(rulebook, case.cured)
    else:
        argued = fired_policy(case.engine, seen)
        over = job.likely > standing.headroom
        unsure = bool(case.dangers.waits_for) and report.estimate is None
        situation = Situation(bool(plan.steps), live.stop_use, case.dangers.barred, unsure, over)
        verdict = decide_outcome(rulebook, argued, situation, seen)
    return Judged(priority, late, job, plan, standing, computed, seen, life, argued, verdict)


def _amount(money: Money | None) -> Decimal:
    return Decimal(0) if money is None else money.amount
