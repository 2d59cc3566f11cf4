"""The whole chain, in order: facts, inference, ranking, warranty, costs, checks, limits, decision.

Every step is a function from values to values; nothing here reads a clock, a file or a database. The same
arguments give the same decision.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import NamedTuple

from triage.decide.causes.checks import Plan
from triage.decide.causes.guards import leading, not_to_approach
from triage.decide.causes.inference import Inference, infer
from triage.decide.causes.questions import next_questions
from triage.decide.causes.ranking import rank
from triage.decide.causes.symptoms import telling
from triage.decide.causes.two_faults import two_faults, two_faults_said
from triage.decide.computed_facts import keep_or_swap_said
from triage.decide.dangers import Dangers, dangers_of
from triage.decide.facts import gather_facts
from triage.decide.judging import Case, judged
from triage.decide.on_day import applying
from triage.decide.outcome import CautionsThatHold, Verdict, cautions_said, cautions_that_hold
from triage.decide.spending.limits import Standing, limit_for
from triage.decide.spending.repair_costs import component_of
from triage.decide.spending.warranty import warranty_for, warranty_notes
from triage.decide.visit import visit_for, visit_skill
from triage.inputs.report import check_dates
from triage.logic.engine import Engine
from triage.machine.measures.measure import calculated
from triage.records.danger import CALM, DangerState
from triage.records.decision import CauseChance, Decision, ExpectedCost, KnownFact, Question
from triage.records.report import History, Machine, Report, local_date
from triage.rulebook.model import OTHER_CAUSE, Rulebook
from triage.values.money import Money, as_money


class Guarded(NamedTuple):
    """What is known of a report, and the cautions that hold, before causes and money are looked at.

    `rulebook` and `engine` are those of the day `on`, the report's.
    """

    rulebook: Rulebook
    engine: Engine
    on: date
    gathered: Mapping[str, KnownFact]
    notes: Sequence[str]
    inference: Inference
    dangers: Dangers
    live: CautionsThatHold


def decide(
    rulebook: Rulebook,
    engine: Engine,
    report: Report,
    machine: Machine | None,
    history: History,
    now: datetime,
    ask: bool = True,
    state: DangerState = CALM,
) -> Decision:
    """The decision for a report as known at `now` (timezone-aware).

    `engine` is what `inference.compile_rulebook` made of this rulebook. Warranty is asked for the day of the
    report. Without `ask` no questions are worked out; all else is the same. `state` is what is known of
    dangers besides the report. Raises InputError for a report from the future or from before its machine was
    made, and EngineFailure when the engine does not answer.
    """
    facts = guarded(rulebook, engine, report, machine, history, now, state)
    rulebook, engine, reported_on = facts.rulebook, facts.engine, facts.on
    gathered, inference, dangers, live = facts.gathered, facts.inference, facts.dangers, facts.live

    not_cured = [done.check for done in report.checks if done.result == "not_cured"]
    symptoms = telling(rulebook, report.symptoms)
    causes = rank(rulebook, symptoms, inference.evidence, not_cured)
    faults = two_faults(rulebook, symptoms, causes, inference.evidence, not_cured)
    component = component_of(rulebook, causes[0].cause)
    warranty = warranty_for(rulebook, machine, component, reported_on, inference.facts)

    done = [check.check for check in report.checks]
    lost = any(danger.caution not in rulebook.cautions for danger in dangers.open)
    if_safe = [check for check in inference.checks if check not in live.forbidden and not lost]
    required = dangers.first
    done = [check for check in done if check not in required or check not in report.performed]
    first = leading(rulebook, required, done, live.forbidden | live.waiting) if not lost else None
    allowed = [check for check in if_safe if check not in live.waiting and first is not None]
    case = Case(
        rulebook=rulebook,
        engine=engine,
        report=report,
        machine=machine,
        history=history,
        now=now,
        on=reported_on,
        inference=inference,
        dangers=dangers,
        live=live,
        causes=causes,
        faults=faults,
        warranty=warranty,
        allowed=allowed,
        done=done,
        first=first or (),
        cured=next((check.check for check in report.checks if check.result == "cured"), None),
    )
    found = judged(case)
    plan, verdict, solved = found.plan, found.verdict, case.solved

    questions: tuple[Question, ...] = ()
    if ask and not solved:
        questions = next_questions(
            rulebook,
            inference.facts,
            case.chances,
            if_safe,
            found.job.sending,
            derived=inference.derived_by.keys(),
            done=done,
            forbidden=live.forbidden,
            skip=(
                *report.unknown,
                *rulebook.set_aside.get("facts", ()),
                *not_to_approach(rulebook, live.stop_use, dangers.waits_for),
            ),
            plan=plan if allowed == if_safe and not first and not faults else None,
            ask_first=dict.fromkeys(fact for id_ in symptoms for fact in rulebook.symptoms[id_].ask_first),
        )
    steps = () if solved else plan.steps

    return Decision(
        outcome=verdict.outcome,
        reasons=verdict.reasons,
        overruled=verdict.overruled,
        causes=causes,
        faults=tuple(fault.said for fault in faults),
        plan=steps,
        expected_cost=_expected_cost(rulebook, plan, solved),
        questions=questions,
        dangers=dangers.open,
        waits_for=dangers.waits_for,
        priority=found.priority,
        skill=visit_skill(rulebook, causes, live),
        cautions=cautions_said(rulebook, live, [id_ for step in steps for id_ in step.cautions], found.seen),
        warranty=warranty,
        limit=limit_for(
            rulebook,
            found.seen,
            found.standing,
            found.job.costs,
            found.job.likely,
            ask=verdict.outcome == "hold",
        ),
        visit=visit_for(rulebook, report, machine, causes, live, verdict.outcome, found.priority),
        approved_up_to=_approved(rulebook, verdict, found.standing, report),
        solved=solved,
        facts=_facts(gathered, inference),
        fired=_fired(inference, live, found.argued),
        notes=(
            *verdict.notes,
            *two_faults_said(rulebook, faults),
            *_notes(rulebook, report, machine, causes, plan, live, verdict, inference, solved, dangers),
            *found.job.notes,
            *found.standing.notes,
            *warranty_notes(rulebook, machine, component, reported_on),
            *facts.notes,
        ),
        rulebook=rulebook.version,
        decided_at=now,
        engine=engine.name,
        computed_facts=found.computed,
        keep_or_swap=keep_or_swap_said(rulebook, found.life, verdict, report.estimate is not None),
        after_hours_agreed=found.late.agreed,
    )


def guarded(
    rulebook: Rulebook,
    engine: Engine,
    report: Report,
    machine: Machine | None,
    history: History,
    now: datetime,
    state: DangerState,
) -> Guarded:
    """The first half of `decide`, of the same arguments and with the same errors."""
    found = inferred(rulebook, engine, report, machine, history, now, state)
    rulebook, _, _, gathered, _, inference = found
    dangers = dangers_of(rulebook, inference, gathered, report, state, now)
    live = cautions_that_hold(rulebook, dangers.holding, waiting=dangers.waiting)
    return Guarded(*found, dangers, live)


STOPS = (
    *("facts", "symptoms", "derive", "cautions", "words"),
    *("rulebook.yml", "models.yml", "installation.yml", "service_hours.yml"),
)
"""The folders and files of a rulebook that say whether use stops."""


def inferred(
    rulebook: Rulebook,
    engine: Engine,
    report: Report,
    machine: Machine | None,
    history: History,
    now: datetime,
    state: DangerState,
) -> tuple[Rulebook, Engine, date, Mapping[str, KnownFact], Sequence[str], Inference]:
    """The parts of `Guarded` up to the inference. It looks at nothing of the rulebook beyond `STOPS`."""
    check_dates(report, machine, now)
    on = local_date(machine, report.reported_at)
    rulebook, engine = applying(rulebook, engine, on)
    first_known = gather_facts(rulebook, report, machine, history, now, state)
    gathered, notes = calculated(rulebook, first_known)
    inference = infer(rulebook, engine, {fact: known.value for fact, known in gathered.items()})
    return rulebook, engine, on, gathered, notes, inference


def _approved(rulebook: Rulebook, verdict: Verdict, standing: Standing, report: Report) -> Money | None:
    """For `approve`, the amount authorized: the estimate, or all that may be spent; never more than that."""
    if verdict.outcome != "approve":
        return None
    amount = standing.headroom
    if report.estimate is not None:
        amount = min(amount, report.estimate.beyond_warranty.amount)
    return as_money(amount, rulebook.currency)


def _expected_cost(rulebook: Rulebook, plan: Plan, solved: bool) -> ExpectedCost:
    shown = plan.expected_cost(rulebook.currency)
    return ExpectedCost(as_money(0, rulebook.currency), shown.dispatch_now, shown.exact) if solved else shown


def _facts(gathered: Mapping[str, KnownFact], inference: Inference) -> Mapping[str, KnownFact]:
    derived = {
        fact: KnownFact(inference.facts[fact], "derived", rule) for fact, rule in inference.derived_by.items()
    }
    return {**gathered, **derived}


def _fired(inference: Inference, live: CautionsThatHold, policy: Sequence[str]) -> tuple[str, ...]:
    """Ids of the rules that fired, by stage: derive, evidence, cautions, policy."""
    evidence = [rule for rule, truth in inference.evidence.items() if truth is True]
    cautions = [caution.head.id for caution in live.said]
    return tuple(dict.fromkeys((*inference.derived_by.values(), *evidence, *cautions, *policy)))


def _notes(
    rulebook: Rulebook,
    report: Report,
    machine: Machine | None,
    causes: Sequence[CauseChance],
    plan: Plan,
    live: CautionsThatHold,
    verdict: Verdict,
    inference: Inference,
    solved: bool,
    dangers: Dangers,
) -> list[str]:
    """What people must know about how the answer was made."""
    notes = []
    if machine is None:
        notes.append(
            "No machine on record: no warranty, default rates, the limits of any other contractor, UTC times."
        )
    if solved:
        return notes
    if any(check.result == "cured" for check in report.checks):
        notes.append("A check fixed the symptom, but a caution still stands in the way.")
    if not plan.exact:
        notes.append("So many checks apply that their order was found step by step; another may be cheaper.")
    kept_out = [check for check in inference.checks if check in live.forbidden]
    if kept_out:
        titles = ", ".join(rulebook.checks[check].title for check in kept_out)
        notes.append(f"Not to be done, by the cautions: {titles}.")
    lost = [danger.caution for danger in dangers.open if danger.caution not in rulebook.cautions]
    if lost:
        names = ", ".join(lost)
        notes.append(f"Nobody goes near the machine: open dangers are not in this rulebook: {names}.")
    if dangers.waits_for:
        titles = "; ".join(rulebook.facts[fact].title for fact in dangers.waits_for)
        notes.append(f"Nobody goes near the machine before this is known: {titles}.")
    elif dangers.checks_wait_for and not live.waiting.isdisjoint(inference.checks):
        checks = ", ".join(rulebook.checks[each].title for each in inference.checks if each in live.waiting)
        titles = "; ".join(rulebook.facts[fact].title for fact in dangers.checks_wait_for)
        notes.append(f"Not before this is known ({titles}): {checks}.")
    if verdict.outcome != "fix_in_store" and plan.steps:
        notes.append("No caution forbids the checks listed; they may be done while waiting.")
    if causes[0].cause == OTHER_CAUSE:
        notes.append("The likeliest cause is one that the rulebook does not name.")
    if report.estimate is not None:
        notes.append("The technician's estimate stands in for the typical cost of the repair.")
    if rulebook.service_hours.holidays_country is None:
        notes.append("Due times take no public holidays into account: the rulebook names no calendar.")
    return notes
