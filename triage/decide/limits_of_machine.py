"""Warranty of every component of a machine and what may be spent on it.

Asked for no trouble in particular, or of one ticket: its limit is the one that its decision says now.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from triage.decide.causes.inference import infer
from triage.decide.computed_facts import value_now
from triage.decide.facts import gather_facts, spent_12_months
from triage.decide.spending.authorities import Asked, speaker_for, to_ask, whom_to_ask
from triage.decide.spending.limits import Standing, authority_for, standing_limit, standing_of
from triage.decide.spending.warranty import cover_known, warranty_for, warranty_notes
from triage.logic.conditions import AllOf, Compare, Condition, FactTest, FactValue, Interval
from triage.logic.engine import Engine
from triage.records.authorization import Authorization
from triage.records.decision import Decision, WarrantySide, facts_of
from triage.records.report import History, Machine, Report, local_date, timezone_of
from triage.rulebook.built_in_facts import LIMIT_DAY
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import Authority
from triage.schedule.service_hours import is_after_hours
from triage.values.dataclass_json import as_data
from triage.values.errors import InputError, Problem
from triage.values.money import as_money, money_text
from triage.values.shown import hint
from triage.values.time_zones import zone_named

SHARE = "spent_share_of_value"


def swap_thresholds(rulebook: Rulebook, machine: Machine, spent: Decimal, on: date) -> dict[str, Any]:
    """JSON data: `value_now`, `spent_share`, `spent_above` (the lowest of the rules), and `rules`.

    A rule of `rules` asks for more besides; `spent_above` is the amount in 12 months from which it may speak.
    Without a price nothing is known, and all are null or empty.
    """
    if machine.price is None:
        return {"value_now": None, "spent_share": None, "spent_above": None, "rules": []}
    value = value_now(machine, on)
    found = []
    for rule in rulebook.policy.values():
        if rule.outcome == "swap" and rule.head.status == "live":
            found += [(share, rule.head.id, rule.head.title) for share in _shares(rule.head.when)]
    found.sort()

    def text(amount: Decimal) -> str:
        return f"{as_money(amount, rulebook.currency).amount:f}"

    return {
        "value_now": text(value),
        "spent_share": float(round(spent / value, 4)) if value else None,
        "spent_above": text(found[0][0] * value) if found else None,
        "rules": [
            {"rule": id_, "title": title, "share": float(share), "spent_above": text(share * value)}
            for share, id_, title in found
        ],
    }


def _shares(condition: Condition) -> Iterator[Decimal]:
    """The lower bounds of the share that must hold for the condition to hold."""
    match condition:
        case AllOf(parts):
            for part in parts:
                yield from _shares(part)
        case FactTest(fact, Compare(">" | ">=", Decimal() as bound) | Interval(Decimal() as bound)):
            if fact == SHARE:
                yield bound


@dataclass(frozen=True, slots=True)
class Job:
    """What the limit is asked for. None: any component; after hours as the time says.

    `promised` is what stands authorized on tickets of the machine, in the rulebook's currency.
    """

    component: str | None = None
    after_hours: bool | None = None
    promised: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class OnTicket:
    """What the limit of one ticket is: its decision as of now, and what may be spent by authorization."""

    decision: Decision
    authorization: Authorization | None


ANY_JOB = Job()


def limits_of(
    rulebook: Rulebook,
    engine: Engine,
    machine: Machine,
    history: History,
    at: datetime,
    job: Job = ANY_JOB,
    ticket: OnTicket | None = None,
) -> dict[str, Any]:
    """JSON data: `machine`, `contractor`, `at`, `warranty` (a line a component), `limit` and `swap`.

    What is after `at` in the history is not looked at. Amounts are texts in the rulebook's currency.
    """
    today = local_date(machine, at)
    if today < machine.shipped_on:
        message = f"the machine was shipped only on {machine.shipped_on}; ask for that day or a later one"
        raise InputError([Problem(message, "query:at")])
    past = replace(
        history,
        care=tuple(event for event in history.care if event.at <= at),
        repairs=tuple(repair for repair in history.repairs if repair.at <= at),
    )
    spent = spent_12_months(machine, past, at)
    if ticket is not None:
        facts = {**facts_of(ticket.decision)}
        standing = standing_of(ticket.decision.limit)
    else:
        nothing_reported = Report(symptoms=(), reported_at=at, machine=machine.serial)
        known = gather_facts(rulebook, nothing_reported, machine, past, at)
        facts = dict(infer(rulebook, engine, {name: fact.value for name, fact in known.items()}).facts)
        late = job.after_hours
        if late is None:
            late = is_after_hours(at, rulebook.service_hours, timezone_of(machine))
        facts["after_hours"] = late
    facts[LIMIT_DAY] = today
    if job.component is not None:
        facts["component"] = job.component
    if ticket is None or job.component is not None:
        on_ticket = Decimal(0) if ticket is None else standing.spent_on_ticket
        promised = job.promised if ticket is None else standing.promised
        standing = standing_limit(rulebook, facts, on_ticket, spent, promised)
    components = sorted({cause.component for cause in rulebook.causes.values()})
    return {
        "machine": machine.serial,
        "contractor": machine.contractor,
        "at": at.isoformat(),
        "warranty": [_warranty(rulebook, machine, component, today, facts) for component in components],
        "limit": _limit(rulebook, facts, job, standing, today, ticket),
        "swap": swap_thresholds(rulebook, machine, spent, today),
    }


def _warranty(
    rulebook: Rulebook, machine: Machine, component: str, on: date, facts: Mapping[str, FactValue]
) -> dict[str, Any]:
    warranty = warranty_for(rulebook, machine, component, on, facts)
    return {
        "component": component,
        "terms": warranty.terms,
        "known": cover_known(rulebook, machine, component, on),
        "parts": _side(warranty.parts),
        "labor": _side(warranty.labor),
        "at_risk": list(warranty.at_risk),
        "claim_needs": list(warranty.claim_needs),
        "notes": list(warranty_notes(rulebook, machine, component, on)),
    }


def _side(side: WarrantySide) -> dict[str, Any]:
    return {"covered": side.covered, "until": None if side.until is None else side.until.isoformat()}


def _limit(
    rulebook: Rulebook,
    facts: Mapping[str, FactValue],
    job: Job,
    standing: Standing,
    on: date,
    ticket: OnTicket | None,
) -> dict[str, Any]:
    currency = rulebook.currency

    def text(amount: Decimal) -> str:
        return f"{as_money(amount, currency).amount:f}"

    # Whoever may say yes to the least that goes beyond.
    least = standing.spent_on_ticket + standing.headroom + Decimal("0.01")
    beyond = authority_for(rulebook, facts, least)
    asked = whom_to_ask(rulebook, facts, least, on)
    return {
        "nte": text(standing.nte),
        "component": job.component,
        "spent_on_ticket": text(standing.spent_on_ticket),
        "spent_12_months": text(standing.spent_12_months),
        "promised": text(standing.promised),
        "headroom": text(standing.headroom),
        "currency": currency,
        "after_hours": facts["after_hours"],
        "after_hours_agreed": None if ticket is None else ticket.decision.after_hours_agreed,
        "authorization": _authorization(ticket),
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
        "above": _above(asked),
        "ask": None if asked is None else as_data(to_ask(asked, rulebook)),
        "authorities": [
            as_data(to_ask(speaker_for(rulebook, one, on) or Asked(one, one, None), rulebook))
            for one in sorted(rulebook.authorities.values(), key=_rank)
        ],
    }


def _authorization(ticket: OnTicket | None) -> dict[str, Any] | None:
    authorized = None if ticket is None else ticket.authorization
    if authorized is None:
        return None
    return {
        "number": authorized.number,
        "amount": money_text(authorized.amount),
        "expires_at": authorized.expires_at.isoformat(),
    }


def _above(asked: Asked | None) -> str:
    """What happens to a repair that goes beyond."""
    if asked is None:
        return "it is on hold, and the rulebook names nobody who may approve it"
    speaks = asked.speaks
    who = speaks.title
    if speaks.id != asked.authority.id:
        who = f"{speaks.title} for {asked.authority.title} (absent until {asked.absent_until})"
    return f"it is on hold until {who} approves it; reach: {speaks.reach}"


def _rank(authority: Authority) -> tuple[bool, Decimal, str]:
    return authority.up_to is None, authority.up_to or Decimal(0), authority.id


def noon_there(machine: Machine, on: date) -> datetime:
    """The middle of a day where the machine stands; in UTC where that is not known."""
    return datetime.combine(on, time(12), zone_named(timezone_of(machine)))


def check_component(rulebook: Rulebook, component: str | None) -> None:
    """Raises InputError for a component that no cause has."""
    known = sorted({cause.component for cause in rulebook.causes.values()})
    if component is not None and component not in known:
        fix = hint(component[:60], known, f"; components are {', '.join(known)}")
        raise InputError([Problem(f'no component "{component[:60]}"{fix}', "query:component")])
