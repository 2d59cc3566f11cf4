"""The computed facts that policy rules see: amounts rounded as they are shown, chances to six places."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from triage.checks import Plan
from triage.conditions import FactValue
from triage.cover import cover_known
from triage.decision import CautionsInForce
from triage.decision_record import CauseChance, CoverAnswer
from triage.facts import whole_months
from triage.job import Job, component_of
from triage.limits import Standing
from triage.money import round_money
from triage.report import Machine, Report
from triage.rulebook import OTHER_CAUSE, Rulebook

LIFE_MONTHS = 84
"""A machine loses its value evenly over seven years. Common practice, no source."""

CHANCE_PLACES = Decimal("0.000001")


def fault_figures(
    rulebook: Rulebook, report: Report, causes: Sequence[CauseChance], in_force: CautionsInForce
) -> dict[str, FactValue]:
    """What is likely at fault, what was tried, and what the cautions say. `causes` are sorted by chance."""
    top, second = causes[0], causes[1] if len(causes) > 1 else None
    figures: dict[str, FactValue] = {
        "top_cause": top.cause,
        "component": component_of(rulebook, top.cause),
        "top_chance": chance_fact(top.chance),
        "second_chance": chance_fact(second.chance if second is not None else 0.0),
        "near_certain": top.cause != OTHER_CAUSE and top.chance >= rulebook.tolerances.near_certain,
        "estimate_given": report.estimate is not None,
        "stop_use": in_force.stop_use,
        "caution_fired": bool(in_force.said),
        "solved": any(done.result == "cured" for done in report.checks),
        "checks_tried": Decimal(len(report.checks)),
    }
    if report.estimate is not None:
        figures["estimate_total"] = report.estimate.total.amount
        figures["estimate_beyond_cover"] = report.estimate.beyond_cover.amount
    return figures


def cover_figures(
    rulebook: Rulebook, machine: Machine | None, cover: CoverAnswer, job: Job, on: date
) -> dict[str, FactValue]:
    """Whose the repair is, on the day `on`."""
    return {
        "cover_parts": cover.parts.covered,
        "cover_labor": cover.labor.covered,
        "cover_known": cover_known(rulebook, machine, cover.parts.component, on),
        "cover_chance": chance_fact(job.cover_chance),
        "cover_at_risk": bool(cover.at_risk),
    }


def money_figures(
    rulebook: Rulebook, machine: Machine | None, plan: Plan, job: Job, standing: Standing, today: date
) -> dict[str, FactValue]:
    """What the ways on cost, what may be spent, and what the machine is worth."""
    currency = rulebook.currency

    def shown(amount: Decimal | float) -> Decimal:
        return round_money(Decimal(repr(amount)) if isinstance(amount, float) else amount, currency)

    figures: dict[str, FactValue] = {
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
        figures["value_now"] = shown(value)
        if value > 0:
            figures["spent_share_of_value"] = (standing.spent_12_months / value).quantize(CHANCE_PLACES)
    return figures


def value_now(machine: Machine, today: date) -> Decimal:
    """What a machine with a price is worth: less by an equal share each whole month, never below zero.

    Unrounded, in the price's currency; 0 without a price.
    """
    if machine.price is None:
        return Decimal(0)
    months_left = max(0, LIFE_MONTHS - whole_months(machine.shipped_on, today))
    price: Decimal = machine.price.amount
    return price * months_left / LIFE_MONTHS


def chance_fact(chance: float) -> Decimal:
    """A chance as a fact's number, to six places."""
    return Decimal(repr(chance)).quantize(CHANCE_PLACES)
