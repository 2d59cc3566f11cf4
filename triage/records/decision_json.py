"""The decision as the contract's JSON: money as text such as "350.00", chances as numbers, RFC 3339 times.

The currency of every amount stands once, at the top and beside the expected cost.
"""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import Any

from moneyed import Money

from triage.records.decision import (
    CauseChance,
    CautionSaid,
    Decision,
    Fault,
    KeepOrSwapSaid,
    KnownFact,
    LimitAnswer,
    PlanStep,
    Question,
    Reason,
    TurnsAt,
    Visit,
    WarrantyAnswer,
    WarrantySide,
)
from triage.rulebook.fact_values import write_value

JSONObject = dict[str, Any]


def as_json(decision: Decision, ticket: str | None = None) -> JSONObject:
    """Plain data for `json.dumps`; `ticket` is the ticket's id, null where nothing was stored."""
    return {
        "ticket": ticket,
        "outcome": decision.outcome,
        "reasons": [_reason(reason) for reason in decision.reasons],
        "overruled": [_reason(reason) for reason in decision.overruled],
        "causes": [_cause(cause) for cause in decision.causes],
        **({"faults": [_fault(fault) for fault in decision.faults]} if decision.faults else {}),
        "plan": [_step(step) for step in decision.plan],
        "expected_cost": {
            "plan": amount(decision.expected_cost.plan),
            "dispatch_now": amount(decision.expected_cost.dispatch_now),
            "currency": decision.expected_cost.plan.currency.code,
            "exact": decision.expected_cost.exact,
        },
        "questions": [_question(question) for question in decision.questions],
        "cautions": [_caution(caution) for caution in decision.cautions],
        "dangers": [danger.as_data() for danger in decision.dangers],
        "waits_for": list(decision.waits_for),
        "priority": decision.priority,
        "skill": decision.skill,
        "warranty": _warranty(decision.warranty),
        "limit": _limit(decision.limit),
        "visit": None if decision.visit is None else _visit(decision.visit),
        "approved_up_to": None if decision.approved_up_to is None else amount(decision.approved_up_to),
        "solved": decision.solved,
        "facts": {name: _fact(fact) for name, fact in sorted(decision.facts.items())},
        "computed_facts": {
            name: write_value(value) for name, value in sorted(decision.computed_facts.items())
        },
        "keep_or_swap": None if decision.keep_or_swap is None else _keep_or_swap(decision.keep_or_swap),
        "fired": list(decision.fired),
        "notes": list(decision.notes),
        "rulebook": decision.rulebook,
        "decided_at": decision.decided_at.isoformat(),
        "engine": decision.engine,
        "currency": decision.expected_cost.plan.currency.code,
    }


def amount(value: Money) -> str:
    """An amount without its currency, such as "350.00"."""
    return f"{value.amount:f}"


def _reason(reason: Reason) -> JSONObject:
    return {"rule": reason.rule, "text": reason.text, "outcome": reason.outcome}


def _cause(cause: CauseChance) -> JSONObject:
    return {
        "cause": cause.cause,
        "title": cause.title,
        "chance": cause.chance,
        "share": cause.share,
        "factors": [
            {
                "rule": factor.rule,
                "text": factor.text,
                "held": factor.held,
                "probability": factor.probability,
                "factor": factor.factor,
            }
            for factor in cause.factors
        ],
    }


def _fault(fault: Fault) -> JSONObject:
    return asdict(fault) | {"symptoms": list(fault.symptoms)}


def _step(step: PlanStep) -> JSONObject:
    return {
        "check": step.check,
        "title": step.title,
        "chance": step.chance,
        "minutes": step.minutes,
        "wait_minutes": step.wait_minutes,
        "cost": amount(step.cost),
        "cautions": list(step.cautions),
        "steps": list(step.steps),
        "look_for": step.look_for,
        **({"group": step.group} if step.group else {}),
    }


def _question(question: Question) -> JSONObject:
    return {
        "fact": question.fact,
        "ask": question.ask,
        "saves": amount(question.saves),
        "safety": question.safety,
        "why": question.why,
    }


def _caution(caution: CautionSaid) -> JSONObject:
    return {
        "rule": caution.rule,
        "text": caution.text,
        "stop_use": caution.stop_use,
        "defers_to": list(caution.defers_to),
    }


def _warranty(warranty: WarrantyAnswer) -> JSONObject:
    return {
        "terms": warranty.terms,
        "parts": _side(warranty.parts),
        "labor": _side(warranty.labor),
        "at_risk": list(warranty.at_risk),
        "claim_needs": list(warranty.claim_needs),
    }


def _side(side: WarrantySide) -> JSONObject:
    return {"component": side.component, "covered": side.covered, "until": _day(side.until)}


def _limit(limit: LimitAnswer) -> JSONObject:
    promised = {"promised": amount(limit.promised)} if limit.promised.amount else {}
    return {
        **promised,
        "nte": amount(limit.nte),
        "spent": amount(limit.spent),
        "spent_12_months": amount(limit.spent_12_months),
        "headroom": amount(limit.headroom),
        "expected_repair": amount(limit.expected_repair),
        "chance_over": limit.chance_over,
        "authority": limit.authority,
        "authority_title": limit.authority_title,
        "reach": limit.reach,
        "table": limit.table,
        "row_line": limit.row_line,
    }


def _visit(visit: Visit) -> JSONObject:
    return {
        "priority": visit.priority,
        "due": visit.due.isoformat(),
        "skill": visit.skill,
        "kit": list(visit.kit),
        "kit_chance": visit.kit_chance,
        **({} if visit.by == "contractor" else {"by": visit.by}),
    }


def _keep_or_swap(said: KeepOrSwapSaid) -> JSONObject:
    return {
        "choice": said.choice,
        "keep_cost_year": amount(said.keep_cost_year),
        "swap_cost_year": amount(said.swap_cost_year),
        "keep_years": said.keep_years,
        "hangs_on": said.hangs_on,
        "turning_points": [_turns_at(point) for point in said.turning_points],
        "text": list(said.text),
    }


def _turns_at(point: TurnsAt) -> JSONObject:
    return {"number": point.number, "now": f"{point.now:f}", "turns_at": f"{point.turns_at:f}"}


def _fact(fact: KnownFact) -> JSONObject:
    shown: JSONObject = {"value": write_value(fact.value), "from": fact.source}
    if fact.quote is not None:
        return {**shown, "quote": fact.quote}
    return shown if fact.rule is None else {**shown, "rule": fact.rule}


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
