"""The computed facts that policy rules see: amounts rounded as they are shown, chances to six places."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache

from triage.decide.causes.checks import Plan
from triage.decide.outcome import CautionsThatHold, Verdict, placeholders
from triage.decide.spending.costs import repair_estimates
from triage.decide.spending.limits import Standing
from triage.decide.spending.repair_costs import Job, component_of, sales_lost
from triage.decide.spending.spread import uncertain
from triage.decide.spending.warranty import cover_known, covered_by_component, terms_by_component
from triage.decide.visit import fixed_by
from triage.logic.conditions import FactValue, facts_in
from triage.machine.lifecycle import life_numbers as lifecycle
from triage.machine.lifecycle.keep_or_swap import TurningPoint
from triage.machine.lifecycle.life_numbers import (
    Assumptions,
    LifeNumbers,
    PastVisit,
    explain,
    life_numbers,
    numbers_that_turn,
)
from triage.machine.lifecycle.trend import Fleet
from triage.records.decision import CauseChance, KeepOrSwapSaid, TurnsAt, WarrantyAnswer
from triage.records.report import EstimateTotal, History, Machine, Report, local_date, whole_months
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import OTHER_CAUSE, Rulebook
from triage.values.money import as_money, round_money

CHANCE_PLACES = Decimal("0.000001")
ASSUMPTIONS = Assumptions()
LIFE_FACTS = frozenset({"keep_cost_year", "swap_cost_year", "swap_saves_year", "failures_faster"})


def fault_facts(
    rulebook: Rulebook,
    report: Report,
    causes: Sequence[CauseChance],
    live: CautionsThatHold,
    fixed: bool,
    sure: bool = True,
) -> dict[str, FactValue]:
    """What is likely at fault, what was tried, and what the cautions say. `causes` are sorted by chance.

    Where two faults are likely, it is not `sure`, and no cause is near certain. `fixed` says that a check
    fixed the symptom and nothing but a caution that stops use stands in the way.
    """
    top, second = causes[0], causes[1] if len(causes) > 1 else None
    computed: dict[str, FactValue] = {
        "top_cause": top.cause,
        "component": component_of(rulebook, top.cause),
        "top_chance": chance_fact(top.chance),
        "second_chance": chance_fact(second.chance if second is not None else 0.0),
        "near_certain": sure and top.cause != OTHER_CAUSE and top.chance >= rulebook.tolerances.near_certain,
        "estimate_given": report.estimate is not None,
        "stop_use": live.stop_use,
        "caution_fired": bool(live.said),
        "solved": fixed,
        "checks_tried": Decimal(len(report.checks)),
    }
    if "fixed_by" in policy_looks_at(rulebook):
        computed["fixed_by"] = fixed_by(rulebook, causes)
    if report.estimate is not None:
        computed["estimate_total"] = report.estimate.total.amount
        computed["estimate_beyond_cover"] = report.estimate.beyond_warranty.amount
        computed |= _outside_agreement(report.estimate)
    return computed


OUTSIDE_FACTS = frozenset({"outside_agreement", "outside_agreement_amount", "outside_agreement_share"})


def _outside_agreement(estimate: EstimateTotal) -> dict[str, FactValue]:
    total: Decimal = estimate.total.amount
    outside = Decimal(0) if estimate.outside_agreement is None else estimate.outside_agreement.amount
    share = (outside / total).quantize(CHANCE_PLACES) if total else Decimal(0)
    return {
        "outside_agreement": outside > 0,
        "outside_agreement_amount": outside,
        "outside_agreement_share": share,
    }


def warranty_facts(
    rulebook: Rulebook, machine: Machine | None, warranty: WarrantyAnswer, job: Job, on: date
) -> dict[str, FactValue]:
    """Whose the repair is, on the day `on`."""
    return {
        "cover_parts": warranty.parts.covered,
        "cover_labor": warranty.labor.covered,
        "cover_known": cover_known(rulebook, machine, warranty.parts.component, on),
        "cover_chance": chance_fact(job.cover_chance),
        "cover_at_risk": bool(warranty.at_risk),
    }


def money_facts(
    rulebook: Rulebook, machine: Machine | None, plan: Plan, job: Job, standing: Standing, today: date
) -> dict[str, FactValue]:
    """What the ways on cost, what may be spent, and what the machine is worth."""
    currency = rulebook.currency

    def shown(amount: Decimal | float) -> Decimal:
        return round_money(Decimal(repr(amount)) if isinstance(amount, float) else amount, currency)

    computed: dict[str, FactValue] = {
        "plan_starts_in_store": bool(plan.steps),
        "plan_cost": shown(plan.cost),
        "dispatch_cost": shown(plan.dispatch_now),
        "plan_saves": shown(plan.dispatch_now - plan.cost),
        "expected_repair": shown(job.costs.expected),
        "nte": shown(standing.nte),
        "spent_on_ticket": shown(standing.spent_on_ticket),
        "headroom": shown(standing.headroom),
        "chance_over": chance_fact(job.costs.chance_above(standing.headroom)),
        "over_limit": job.likely > standing.headroom,
        "swap_cost": shown(rulebook.rates.swap_cost),
    }
    if machine is not None and machine.price is not None:
        value = value_now(machine, today)
        computed["value_now"] = shown(value)
        if value > 0:
            computed["spent_share_of_value"] = (standing.spent_12_months / value).quantize(CHANCE_PLACES)
    return computed


def value_now(machine: Machine, today: date) -> Decimal:
    """What a machine with a price is worth: less by the same share (`Assumptions.yearly_drop`) every year.

    Counted in whole months since it was shipped; unrounded, in the price's currency; 0 without a price.
    """
    if machine.price is None:
        return Decimal(0)
    price: Decimal = machine.price.amount
    return price * _share_left(whole_months(machine.shipped_on, today))


@lru_cache(maxsize=1024)
def _share_left(months: int) -> Decimal:
    return (1 - ASSUMPTIONS.yearly_drop) ** (Decimal(months) / 12)


def life_of(
    rulebook: Rulebook, machine: Machine | None, history: History, job: Job, now: datetime
) -> LifeNumbers | None:
    """What keeping and exchanging the machine cost a year, and whether failures come faster.

    None for a machine without a price, or where no live policy rule looks: the forecast takes time.
    """
    if machine is None or machine.price is None or not LIFE_FACTS & policy_looks_at(rulebook):
        return None
    known = rulebook.models.get(machine.model)
    return life_numbers(
        machine,
        priced_now(rulebook, machine, history, now),
        now,
        value_now=value_now(machine, local_date(machine, now)),
        repair_now=job.likely,
        swap_cost=rulebook.rates.swap_cost,
        assumptions=replace(
            ASSUMPTIONS, cost_of_a_repair=ASSUMPTIONS.cost_of_a_repair + sales_lost(rulebook, None)
        ),
        fleet=None if known is None else Fleet(float(known.failures_a_year), float(known.fleet_years)),
    )


def priced_now(
    rulebook: Rulebook, machine: Machine, history: History, now: datetime
) -> tuple[PastVisit, ...]:
    """The visits at what they would cost now, with the sales lost.

    One that warranty paid in part or whole, or that cost nothing, counts as the typical repair of its
    cause at today's rates, if that is more. A visit without a fault costs what it cost, and lost no sales.
    """
    distance = machine.site.distance_km if machine.site is not None else None
    today = local_date(machine, now)
    found = []
    for past in history.repairs:
        cost: Decimal = past.cost.amount
        if past.cause is not None:
            component, day = component_of(rulebook, past.cause), local_date(machine, past.at)
            one = frozenset({component})
            sides = covered_by_component(machine, terms_by_component(rulebook, machine, one, day), one, day)[
                component
            ]
            if not cost or any(sides):
                typical = repair_estimates(
                    rulebook, (past.cause,), today, machine.contractor, False, distance
                )[past.cause]
                cost = max(cost, typical.total)
            cost += sales_lost(rulebook, past.cause)
        found.append(PastVisit(past.at, past.cause is not None, cost))
    return tuple(found)


def life_facts(rulebook: Rulebook, life: LifeNumbers | None) -> dict[str, FactValue]:
    """The same as facts, as far as it is known."""
    return {} if life is None else dict(lifecycle.facts(life, rulebook.currency))


def keep_or_swap_said(
    rulebook: Rulebook, life: LifeNumbers | None, verdict: Verdict, estimated: bool
) -> KeepOrSwapSaid | None:
    """The comparison with what would have turned it.

    Said where the machine is exchanged, where a rule spoke of it, and with every technician's estimate.
    """
    spoke = {reason.rule for reason in (*verdict.reasons, *verdict.overruled)}
    asked = estimated or verdict.outcome == "swap" or bool(spoke & rules_on_life(rulebook))
    if life is None or not asked:
        return None
    points = numbers_that_turn(life)
    return KeepOrSwapSaid(
        choice=life.choice.choice,
        keep_cost_year=as_money(life.choice.keep.annual_cost, rulebook.currency),
        swap_cost_year=as_money(life.choice.swap.annual_cost, rulebook.currency),
        keep_years=life.choice.keep_years,
        hangs_on=points[0].number if points else None,
        turning_points=tuple(_turns_at(point, rulebook.currency) for point in points),
        text=explain(life, rulebook.currency, points),
    )


def _turns_at(point: TurningPoint, currency: str) -> TurnsAt:
    def shown(value: Decimal | None) -> Decimal:
        exact = Decimal(0) if value is None else value
        return round(exact, 4) if point.number in ("running_costs", "rate") else round_money(exact, currency)

    return TurnsAt(point.number, shown(point.now), shown(point.turns_at))


@once_per_rulebook
def rules_on_life(rulebook: Rulebook) -> frozenset[str]:
    """The policy rules that look at what keeping and exchanging cost, or at the trend of the failures."""
    return frozenset(id_ for id_, rule in rulebook.policy.items() if facts_in(rule.head.when) & LIFE_FACTS)


@once_per_rulebook
def rules_on_outside(rulebook: Rulebook) -> frozenset[str]:
    """The policy rules that look at what of an estimate is outside the rate agreement."""
    return frozenset(id_ for id_, rule in rulebook.policy.items() if facts_in(rule.head.when) & OUTSIDE_FACTS)


@once_per_rulebook
def policy_looks_at(rulebook: Rulebook) -> frozenset[str]:
    """The facts that live policy rules look at, or name in their texts."""
    live = [rule for rule in rulebook.policy.values() if rule.head.status == "live"]
    return frozenset().union(
        *(facts_in(rule.head.when) for rule in live), *(placeholders(rule.text) for rule in live)
    )


def chance_fact(chance: float) -> Decimal:
    """A chance as a fact's number, to six places; only what is certain is 0 or 1."""
    told = chance if chance in (0, 1) else uncertain(chance)
    return Decimal(repr(told)).quantize(CHANCE_PLACES)
