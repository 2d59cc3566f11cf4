"""The whole chain, in order: report, facts, inference, ranking, cover, costs, checks, limits, decision.

Every step is a function from values to values; nothing here reads a clock, a file or a database. The same
arguments give the same decision.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from triage import clearance, freeze, level, mix, supply
from triage.checks import Plan, best_plan
from triage.conditions import Facts, FactValue
from triage.costs import CostDistribution, repair_estimate
from triage.cover import cover_for, cover_known, cover_notes, covered_by_component
from triage.decision import (
    CautionsInForce,
    Situation,
    Verdict,
    cautions_in_force,
    cautions_said,
    decide_outcome,
    solved_verdict,
    visit_kit,
    visit_skill,
)
from triage.decision_record import (
    CauseChance,
    CoverAnswer,
    Decision,
    ExpectedCost,
    KnownFact,
    Question,
    Visit,
)
from triage.errors import InputError
from triage.facts import gather_facts, local_date, spent_12_months
from triage.inference import Inference, fired_policy, infer
from triage.inference_engine import Engine
from triage.limits import Standing, limit_for, standing_limit
from triage.money import Money, as_money
from triage.questions import next_questions
from triage.ranking import rank
from triage.report import History, Machine, Report
from triage.report_input import check_dates
from triage.rulebook import OTHER_CAUSE, Rulebook
from triage.service_hours import due_at, is_after_hours

CALCULATIONS: tuple[tuple[str, Callable[[Facts], Mapping[str, FactValue]]], ...] = (
    ("level", level.facts),
    ("clearance", clearance.facts),
    ("supply", supply.facts),
    ("mix", mix.facts),
    ("freeze-down", freeze.facts),
)
"""Calculations that make facts, in an order in which later ones may use what earlier ones found."""

URGENT = 2
"""The priority of an exchange where no rule names one: scheduled like an urgent service call."""

LIFE_MONTHS = 84
"""A machine loses its value evenly over seven years. Common practice, no source."""

CHANCE_PLACES = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class Job:
    """What a repair may come to, in the rulebook's currency: cause -> amount the programme pays."""

    repair: Mapping[str, Decimal]
    costs: CostDistribution
    sending: Mapping[str, float]  # repair, and sales lost until someone has been there
    cover_chance: float
    notes: tuple[str, ...]


def decide(
    rulebook: Rulebook,
    engine: Engine,
    report: Report,
    machine: Machine | None,
    history: History,
    now: datetime,
) -> Decision:
    """The decision for a report as known at `now` (timezone-aware).

    `engine` is what `inference.compile_rulebook` made of this rulebook. Raises InputError for a report from
    the future or from before its machine was made, and EngineFailure when the engine does not answer.
    """
    check_dates(report, machine, now)
    gathered, notes = _calculated(rulebook, gather_facts(rulebook, report, machine, history, now))
    inference = infer(rulebook, engine, {fact: known.value for fact, known in gathered.items()})
    in_force = cautions_in_force(rulebook, inference.cautions)

    not_cured = [done.check for done in report.checks if done.result == "not_cured"]
    causes = rank(rulebook, report.symptoms, inference.evidence, not_cured)
    chances = {cause.cause: cause.chance for cause in causes}

    after_hours = _after_hours(rulebook, report, machine, in_force)
    job = _job(rulebook, chances, machine, after_hours, now)
    done = tuple(done.check for done in report.checks)
    permitted = tuple(check for check in inference.checks if check not in in_force.forbidden)
    plan = best_plan(rulebook, chances, permitted, job.sending, done)

    cover = cover_for(
        rulebook, machine, _component(rulebook, causes), local_date(machine, now), inference.facts
    )
    cured = next((done.check for done in report.checks if done.result == "cured"), None)
    solved = cured is not None and not in_force.stop_use
    spent = history.spent_on_ticket.amount if history.spent_on_ticket is not None else Decimal(0)
    standing = standing_limit(
        rulebook,
        {**inference.facts, "after_hours": after_hours},
        spent,
        spent_12_months(history, now),
    )
    likely = report.estimate.beyond_cover.amount if report.estimate is not None else job.costs.expected
    figures = _figures(
        rulebook, report, machine, causes, plan, job, cover, standing, in_force, likely, now, after_hours
    )
    seen = {**inference.facts, **figures}

    fired = () if solved else fired_policy(rulebook, engine, seen)
    if solved and cured is not None:
        verdict = solved_verdict(rulebook, cured)
    else:
        situation = Situation(bool(plan.steps), in_force.stop_use, solved, likely > standing.headroom)
        verdict = decide_outcome(rulebook, fired, situation, seen)
    limit = limit_for(rulebook, seen, standing, job.costs, likely, ask=verdict.outcome == "hold")
    visit = None if solved else _visit(rulebook, report, machine, causes, in_force, verdict)
    questions = () if solved else _questions(rulebook, inference, chances, permitted, job, done, in_force)
    steps = () if solved else plan.steps
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
        limit=limit,
        visit=visit,
        approved_up_to=_approved(rulebook, verdict, standing, report),
        solved=solved,
        facts=_facts(gathered, inference),
        fired=_fired(inference, in_force, fired),
        notes=(
            *notes,
            *verdict.notes,
            *_notes(rulebook, report, machine, causes, plan, in_force, verdict, cured),
            *job.notes,
            *standing.notes,
            *cover_notes(rulebook, machine, _component(rulebook, causes)),
        ),
        rulebook=rulebook.version,
        decided_at=now,
        engine=engine.name,
        figures=figures,
    )


def _calculated(
    rulebook: Rulebook, known: dict[str, KnownFact]
) -> tuple[dict[str, KnownFact], tuple[str, ...]]:
    """`known` and the facts that the calculations add to it, as far as the rulebook has them."""
    values: dict[str, FactValue] = {fact: each.value for fact, each in known.items()}
    found: dict[str, KnownFact] = {}
    notes = []
    for name, calculate in CALCULATIONS:
        try:
            new = calculate(values)
        except InputError as error:
            notes.append(f"The {name} calculation was left out: {error}")
            continue
        values |= {fact: value for fact, value in new.items() if fact not in values}
        found |= {
            fact: KnownFact(value, "computed")
            for fact, value in new.items()
            if fact in rulebook.facts and fact not in known
        }
    return {**known, **found}, tuple(notes)


def _after_hours(
    rulebook: Rulebook, report: Report, machine: Machine | None, in_force: CautionsInForce
) -> bool:
    """Whether a visit would be paid at after-hours rates.

    It is when the report comes outside the service hours and its response time does not wait for them. The
    urgency is that of the cautions, or the default one: a policy rule speaks only once the costs are known.
    """
    hours = rulebook.service_hours
    response = hours.priorities.get(in_force.priority or hours.default_priority)
    if response is None or response.clock == "service":
        return False
    return is_after_hours(report.reported_at, hours, _timezone(machine))


def _job(
    rulebook: Rulebook,
    chances: Mapping[str, float],
    machine: Machine | None,
    after_hours: bool,
    now: datetime,
) -> Job:
    contractor = machine.contractor if machine is not None else None
    distance = machine.site.distance_km if machine is not None and machine.site is not None else None
    store = rulebook.rates.store
    lost = float(store.days_to_visit * store.open_hours_a_day * store.lost_sales_hour)
    components = {cause: _component_of(rulebook, cause) for cause in chances}
    covered = covered_by_component(
        rulebook, machine, frozenset(components.values()), local_date(machine, now)
    )
    repair = {
        cause: repair_estimate(rulebook, cause, contractor, after_hours, distance).beyond_cover(
            *covered[component]
        )
        for cause, component in components.items()
    }
    notes = []
    if machine is not None and contractor is None:
        notes.append("No contractor on record: the default rates apply.")
    elif machine is not None and contractor not in rulebook.rates.contractors:
        notes.append(f"The rulebook has no rate agreement with {contractor}: the default rates apply.")
    if machine is not None and machine.site is None:
        notes.append("No site on record: no distance fee is counted, and times are in UTC.")
    return Job(
        repair=repair,
        costs=CostDistribution.over(repair, chances),
        sending={cause: float(amount) + lost for cause, amount in repair.items()},
        cover_chance=min(
            1.0, sum(chance for cause, chance in chances.items() if all(covered[components[cause]]))
        ),
        notes=tuple(notes),
    )


def _figures(
    rulebook: Rulebook,
    report: Report,
    machine: Machine | None,
    causes: Sequence[CauseChance],
    plan: Plan,
    job: Job,
    cover: CoverAnswer,
    standing: Standing,
    in_force: CautionsInForce,
    likely: Decimal,
    now: datetime,
    after_hours: bool,
) -> dict[str, FactValue]:
    """The computed facts for the policy rules: amounts rounded as shown, chances to six places."""

    def money(amount: Decimal | float) -> Decimal:
        rounded: Decimal = as_money(amount, rulebook.currency).amount
        return rounded

    today = local_date(machine, now)
    top, second = causes[0], causes[1] if len(causes) > 1 else None
    figures: dict[str, FactValue] = {
        "top_cause": top.cause,
        "component": _component_of(rulebook, top.cause),
        "top_chance": chance_fact(top.chance),
        "second_chance": chance_fact(second.chance if second is not None else 0.0),
        "near_certain": top.cause != OTHER_CAUSE and top.chance >= rulebook.tolerances.near_certain,
        "plan_starts_in_store": bool(plan.steps),
        "plan_cost": money(plan.cost),
        "dispatch_cost": money(plan.dispatch_now),
        "plan_saves": money(plan.dispatch_now - plan.cost),
        "expected_repair": money(job.costs.expected),
        "cover_parts": cover.parts.covered,
        "cover_labor": cover.labor.covered,
        "cover_known": cover_known(rulebook, machine, _component_of(rulebook, top.cause), today),
        "cover_chance": chance_fact(job.cover_chance),
        "cover_at_risk": bool(cover.at_risk),
        "after_hours": after_hours,
        "nte": money(standing.nte),
        "spent_on_ticket": money(standing.spent_on_ticket),
        "headroom": money(standing.headroom),
        "chance_over": chance_fact(job.costs.chance_above(standing.headroom)),
        "over_limit": likely > standing.headroom,
        "estimate_given": report.estimate is not None,
        "stop_use": in_force.stop_use,
        "caution_fired": bool(in_force.said),
        "solved": any(done.result == "cured" for done in report.checks),
        "checks_tried": Decimal(len(report.checks)),
        "swap_cost": money(rulebook.rates.swap_cost),
    }
    if report.estimate is not None:
        figures["estimate_total"] = report.estimate.total.amount
        figures["estimate_beyond_cover"] = report.estimate.beyond_cover.amount
    if machine is not None and machine.price is not None:
        value = value_now(machine, now)
        figures["value_now"] = money(value)
        if value > 0:
            figures["spent_share_of_value"] = chance_fact(float(standing.spent_12_months / value))
    return figures


def value_now(machine: Machine, now: datetime) -> Decimal:
    """What a machine with a known price is worth: evenly less over LIFE_MONTHS, never below zero."""
    if machine.price is None:
        return Decimal(0)
    age = (now.date() - machine.shipped_on).days / Decimal("30.4375")
    share = 1 - min(Decimal(1), max(Decimal(0), age / LIFE_MONTHS))
    price: Decimal = machine.price.amount
    return price * share


def chance_fact(chance: float) -> Decimal:
    """A chance as a fact's number, to six places."""
    return Decimal(repr(chance)).quantize(CHANCE_PLACES)


def _questions(
    rulebook: Rulebook,
    inference: Inference,
    chances: Mapping[str, float],
    permitted: Sequence[str],
    job: Job,
    done: Sequence[str],
    in_force: CautionsInForce,
) -> tuple[Question, ...]:
    return next_questions(
        rulebook,
        inference.facts,
        chances,
        permitted,
        job.sending,
        derived=inference.derived_by.keys(),
        done=done,
        forbidden=in_force.forbidden,
    )


def _visit(
    rulebook: Rulebook,
    report: Report,
    machine: Machine | None,
    causes: Sequence[CauseChance],
    in_force: CautionsInForce,
    verdict: Verdict,
) -> Visit | None:
    """Who comes and until when; nobody for a fix in the store, or before a held case has its word."""
    if verdict.outcome in ("fix_in_store", "hold"):
        return None
    hours = rulebook.service_hours
    named = [one for one in (verdict.visit_priority, in_force.priority) if one is not None]
    usual = hours.default_priority
    if verdict.outcome == "swap" and URGENT in hours.priorities:
        usual = min(usual, URGENT)
    priority = min(named, default=usual)
    return Visit(
        priority=priority,
        due=due_at(report.reported_at, priority, hours, _timezone(machine)),
        skill=visit_skill(rulebook, causes, in_force),
        kit=visit_kit(rulebook, causes),
    )


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
    cured: str | None,
) -> list[str]:
    notes = []
    if machine is None:
        notes.append(
            "No machine on record: no cover, default rates, the limits of any other contractor, UTC times."
        )
    if not plan.exact:
        notes.append(
            "So many checks apply that their order was found step by step; it may not be the cheapest."
        )
    if cured is not None and in_force.stop_use:
        notes.append("A check cured the symptom, but a caution still says to stop using the machine.")
    if in_force.forbidden and not plan.steps:
        notes.append("No check is suggested: the cautions forbid those that would have been of use.")
    if verdict.outcome != "fix_in_store" and plan.steps:
        notes.append("The checks listed are safe and may be done while waiting.")
    if causes[0].cause == OTHER_CAUSE:
        notes.append("The likeliest cause is one that the rulebook does not name.")
    if report.estimate is not None:
        notes.append("The technician's estimate stands in for the typical cost of the repair.")
    if rulebook.service_hours.holidays_country is None:
        notes.append("Due times take no public holidays into account: the rulebook names no calendar.")
    return notes


def _component(rulebook: Rulebook, causes: Sequence[CauseChance]) -> str:
    return _component_of(rulebook, causes[0].cause)


def _component_of(rulebook: Rulebook, cause: str) -> str:
    known = rulebook.causes.get(cause)
    return known.component if known is not None else OTHER_CAUSE


def _timezone(machine: Machine | None) -> str:
    return machine.site.timezone if machine is not None and machine.site is not None else "UTC"
