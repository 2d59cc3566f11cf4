"""Cover of every component of a machine and what may be spent on it, for no trouble in particular."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from triage.conditions import FactValue
from triage.cover import cover_for, cover_known, cover_notes
from triage.decision_record import CoverSide
from triage.facts import gather_facts, local_date, spent_12_months
from triage.inference import infer
from triage.inference_engine import Engine
from triage.limits import authority_for, standing_limit
from triage.money import as_money
from triage.report import History, Machine, Report
from triage.rulebook import Rulebook
from triage.service_hours import is_after_hours


def limits_of(
    rulebook: Rulebook, engine: Engine, machine: Machine, history: History, at: datetime
) -> dict[str, Any]:
    """JSON data: `machine`, `contractor`, `at`, `cover` (a line a component) and `limit`, for a new ticket.

    What is after `at` in the history is not looked at. Amounts are texts in the rulebook's currency.
    """
    past = replace(
        history,
        care=tuple(event for event in history.care if event.at <= at),
        repairs=tuple(repair for repair in history.repairs if repair.at <= at),
    )
    nothing_reported = Report(symptoms=(), reported_at=at, machine=machine.serial)
    known = gather_facts(rulebook, nothing_reported, machine, past, at)
    facts = dict(infer(rulebook, engine, {name: fact.value for name, fact in known.items()}).facts)
    zone = "UTC" if machine.site is None else machine.site.timezone
    facts["after_hours"] = is_after_hours(at, rulebook.service_hours, zone)
    today = local_date(machine, at)
    components = sorted({cause.component for cause in rulebook.causes.values()})
    return {
        "machine": machine.serial,
        "contractor": machine.contractor,
        "at": at.isoformat(),
        "cover": [_cover(rulebook, machine, component, today, facts) for component in components],
        "limit": _limit(rulebook, facts, spent_12_months(past, at)),
    }


def _cover(
    rulebook: Rulebook, machine: Machine, component: str, on: date, facts: Mapping[str, FactValue]
) -> dict[str, Any]:
    cover = cover_for(rulebook, machine, component, on, facts)
    return {
        "component": component,
        "terms": cover.terms,
        "known": cover_known(rulebook, machine, component, on),
        "parts": _side(cover.parts),
        "labor": _side(cover.labor),
        "at_risk": list(cover.at_risk),
        "claim_needs": list(cover.claim_needs),
        "notes": list(cover_notes(rulebook, machine, component)),
    }


def _side(side: CoverSide) -> dict[str, Any]:
    return {"covered": side.covered, "until": None if side.until is None else side.until.isoformat()}


def _limit(rulebook: Rulebook, facts: Mapping[str, FactValue], spent: Decimal) -> dict[str, Any]:
    currency = rulebook.currency

    def text(amount: Decimal) -> str:
        return f"{as_money(amount, currency).amount:f}"

    standing = standing_limit(rulebook, facts, Decimal(0), spent)
    # Whoever may say yes to the least that goes beyond.
    beyond = authority_for(rulebook, facts, standing.headroom + Decimal("0.01"))
    return {
        "nte": text(standing.nte),
        "spent_12_months": text(spent),
        "headroom": text(standing.headroom),
        "currency": currency,
        "after_hours": facts["after_hours"],
        "table": standing.table,
        "notes": list(standing.notes),
        "beyond": None
        if beyond is None
        else {
            "authority": beyond.id,
            "title": beyond.title,
            "reach": beyond.reach,
            "up_to": None if beyond.up_to is None else text(beyond.up_to),
        },
    }
