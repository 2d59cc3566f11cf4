"""The whole chain, in order: facts, inference, ranking, cover, costs, checks, limits, decision.

Every step is a function from values to values; nothing here reads a clock, a file or a database. The same
arguments give the same decision.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal

from triage.decide.causes.checks import Plan, best_plan
from triage.decide.causes.inference import Inference, fired_policy, infer
from triage.decide.causes.questions import next_questions
from triage.decide.causes.ranking import rank
from triage.decide.computed_facts import (
    cover_figures,
    fault_figures,
    keep_or_swap_said,
    life_facts,
    life_of,
    money_figures,
)
from triage.decide.facts import gather_facts, spent_12_months
from triage.decide.outcome import (
    CautionsInForce,
    Situation,
    Verdict,
    cautions_in_force,
    cautions_said,
    decide_outcome,
    solved_verdict,
)
from triage.decide.spending.limits import Standing, limit_for, standing_limit
from triage.decide.spending.repair_costs import component_of, job_for
from triage.decide.spending.warranty import cover_for, cover_notes
from triage.decide.visit import paid_after_hours, visit_for
from triage.inputs.report import check_dates
from triage.logic.engine import Engine
from triage.machine.measures.measure import calculated
from triage.records.decision import CauseChance, Decision, ExpectedCost, KnownFact, PlanStep, Question
from triage.records.report import History, Machine, Report, local_date
from triage.rulebook.model import OTHER_CAUSE, Rulebook
from triage.values.money import Money, as_money


def decide(
    rulebook: Rulebook,
    engine: Engine,
    report: Report,
    machine: Machine | None,
    history: History,
    now: datetime,
    ask: bool = True,
) -> Decision:
    """The decision for a report as known at `now` (timezone-aware).

    `engine` is what `inference.compile_rulebook` made of this rulebook. Cover is asked for the day of the
    report. Without `ask` no questions are worked out; all else is the same. Raises InputError for a report
    from the future or from before its machine was made, and EngineFailure when the engine does not answer.
    """
    check_dates(report, machine, now)

    gathered, calculation_notes = calculated(rulebook, gather_facts(rulebook, report, machine, history, now))
    inference = infer(rulebook, engine, {fact: known.value for fact, known in gathered.items()})
    in_force = cautions_in_force(rulebook, inference.cautions)

    not_cured = [done.check for done in report.checks if done.result == "not_cured"]
    causes = rank(rulebook, report.symptoms, inference.evidence, not_cured)
    chances = {cause.cause: cause.chance for cause in causes}
    component = component_of(rulebook, causes[0].cause)

    reported_on = local_date(machine, report.reported_at)
    cover = cover_for(rulebook, machine, component, reported_on, inference.facts)
    after_hours = paid_after_hours(rulebook, report, machine, in_force)
    job = job_for(rulebook, chances, machine, after_hours, reported_on, report.estimate)

    done = [check.check for check in report.checks]
    allowed = [check for check in inference.checks if check not in in_force.forbidden]
    plan = best_plan(rulebook, chances, allowed, job.sending, done)

    figures = {
        **fault_figures(rulebook, report, causes, in_force),
        **cover_figures(rulebook, machine, cover, job, reported_on),
        "after_hours": after_hours,
    }
    standing = standing_limit(
        rulebook, {**inference.facts, **figures}, _spent(history), spent_12_months(history, now)
    )
    figures |= money_figures(rulebook, machine, plan, job, standing, local_date(machine, now))
    life = life_of(rulebook, machine, history, job, now)
    figures |= life_facts(rulebook, life)
    seen = {**inference.facts, **figures}

    cured = next((check.check for check in report.checks if check.result == "cured"), None)
    solved = cured is not None and not in_force.stop_use
    argued = () if solved else fired_policy(rulebook, engine, seen)
    if solved and cured is not None:
        verdict = solved_verdict(rulebook, cured)
        steps: tuple[PlanStep, ...] = ()
        questions: tuple[Question, ...] = ()
    else:
        situation = Situation(bool(plan.steps), in_force.stop_use, job.likely > standing.headroom)
        verdict = decide_outcome(rulebook, argued, situation, seen)
        steps = plan.steps
        questions = ()
        if ask:
            questions = next_questions(
                rulebook,
                inference.facts,
                chances,
                allowed,
                job.sending,
                derived=inference.derived_by.keys(),
                done=done,
                forbidden=in_force.forbidden,
                skip=report.unknown,
                plan=plan,
            )

    return Decision(
        outcome=verdict.outcome,
        reasons=verdict.reasons,
        overruled=verdict.overruled,
        causes=causes,
        plan=steps,
        expected_cost=_expected_cost(rulebook, plan, solved),
        questions=questions,
        cautions=cautions_said(rulebook, in_force, [id_ for step in steps for id_ in step.cautions], seen),
        cover=cover,
        limit=limit_for(rulebook, seen, standing, job.costs, job.likely, ask=verdict.outcome == "hold"),
        visit=visit_for(rulebook, report, machine, causes, in_force, verdict),
        approved_up_to=_approved(rulebook, verdict, standing, report),
        solved=solved,
        facts=_facts(gathered, inference),
        fired=_fired(inference, in_force, argued),
        notes=(
            *verdict.notes,
            *_notes(rulebook, report, machine, causes, plan, in_force, verdict, inference, solved),
            *job.notes,
            *standing.notes,
            *cover_notes(rulebook, machine, component),
            *calculation_notes,
        ),
        rulebook=rulebook.version,
        decided_at=now,
        engine=engine.name,
        figures=figures,
        keep_or_swap=keep_or_swap_said(rulebook, life, verdict, report.estimate is not None),
    )


def _spent(history: History) -> Decimal:
    return history.spent_on_ticket.amount if history.spent_on_ticket is not None else Decimal(0)


def _approved(rulebook: Rulebook, verdict: Verdict, standing: Standing, report: Report) -> Money | None:
    """For `approve`, the amount authorised: the estimate, or all that may be spent; never more than that."""
    if verdict.outcome != "approve":
        return None
    amount = standing.headroom
    if report.estimate is not None:
        amount = min(amount, report.estimate.beyond_cover.amount)
    return as_money(amount, rulebook.currency)


def _expected_cost(rulebook: Rulebook, plan: Plan, solved: bool) -> ExpectedCost:
    shown = plan.expected_cost(rulebook.currency)
    return ExpectedCost(as_money(0, rulebook.currency), shown.dispatch_now, shown.exact) if solved else shown


def _facts(gathered: Mapping[str, KnownFact], inference: Inference) -> Mapping[str, KnownFact]:
    derived = {
        fact: KnownFact(inference.facts[fact], "derived", rule) for fact, rule in inference.derived_by.items()
    }
    return {**gathered, **derived}


def _fired(inference: Inference, in_force: CautionsInForce, policy: Sequence[str]) -> tuple[str, ...]:
    """Ids of the rules that fired, by stage: derive, evidence, cautions, policy."""
    evidence = [rule for rule, truth in inference.evidence.items() if truth is True]
    cautions = [caution.head.id for caution in in_force.said]
    return tuple(dict.fromkeys((*inference.derived_by.values(), *evidence, *cautions, *policy)))


def _notes(
    rulebook: Rulebook,
    report: Report,
    machine: Machine | None,
    causes: Sequence[CauseChance],
    plan: Plan,
    in_force: CautionsInForce,
    verdict: Verdict,
    inference: Inference,
    solved: bool,
) -> list[str]:
    """What people must know about how the answer was made."""
    notes = []
    if machine is None:
        notes.append(
            "No machine on record: no cover, default rates, the limits of any other contractor, UTC times."
        )
    if solved:
        return notes
    if any(check.result == "cured" for check in report.checks):
        notes.append("A check cured the symptom, but a caution still says to stop using the machine.")
    if not plan.exact:
        notes.append("So many checks apply that their order was found step by step; another may be cheaper.")
    kept_out = [check for check in inference.checks if check in in_force.forbidden]
    if kept_out:
        titles = ", ".join(rulebook.checks[check].title for check in kept_out)
        notes.append(f"Not to be done, by the cautions: {titles}.")
    if verdict.outcome != "fix_in_store" and plan.steps:
        notes.append("No caution forbids the checks listed; they may be done while waiting.")
    if causes[0].cause == OTHER_CAUSE:
        notes.append("The likeliest cause is one that the rulebook does not name.")
    if report.estimate is not None:
        notes.append("The technician's estimate stands in for the typical cost of the repair.")
    if rulebook.service_hours.holidays_country is None:
        notes.append("Due times take no public holidays into account: the rulebook names no calendar.")
    return notes
