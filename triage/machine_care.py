"""A machine's care as people enter and read it: one new line of the log, and what is due."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, cast, get_args

from triage.did_you_mean import hint
from triage.errors import InputError, Problem
from triage.facts import local_date
from triage.plain_data import NotPlain, plain
from triage.report import History, Machine
from triage.upkeep import CareDue, CareEvent, CareKind, due

KINDS = get_args(CareKind)
CLOCKS_APART = timedelta(minutes=5)
"""How far in the future a time may lie: two clocks are never quite the same."""


@dataclass(frozen=True, slots=True)
class CareView:
    """When the air filter and the whole machine are due for cleaning; None without a site (no time zone)."""

    filter: CareDue | None
    full_clean: CareDue | None


def care_view(machine: Machine, history: History, at: datetime) -> CareView:
    if machine.site is None:
        return CareView(None, None)
    zone = machine.site.timezone
    return CareView(due("filter", history.care, at, zone), due("full_clean", history.care, at, zone))


def read_care_event(
    data: Mapping[str, Any], machine: Machine, now: datetime, by: str
) -> tuple[CareEvent, Machine]:
    """The event, and the machine's record after it: the first commissioning gives the commissioning date.

    Raises InputError with every problem found.
    """
    problems: list[Problem] = []
    kind = data.get("kind")
    if kind not in KINDS:
        mend = hint(str(kind), KINDS, f"; kinds are {', '.join(KINDS)}")
        problems.append(Problem(f'no kind of care "{kind}"{mend}', "/kind"))
    details = data.get("details") or {}
    if not isinstance(details, Mapping):
        problems.append(Problem("details are an object: name -> value", "/details"))
    else:
        try:
            plain(details)
        except NotPlain as error:
            problems.append(Problem(str(error), "/details"))
    at = _time(data.get("at"), now, machine, problems)
    if problems or at is None:
        raise InputError(problems)
    event = CareEvent(cast(CareKind, kind), at, by, dict(details))
    if event.kind == "commissioned" and machine.commissioned_on is None:
        machine = replace(machine, commissioned_on=local_date(machine, at))
    return event, machine


def _time(raw: object, now: datetime, machine: Machine, problems: list[Problem]) -> datetime | None:
    if raw is None:
        return now
    try:
        at = datetime.fromisoformat(raw) if isinstance(raw, str) else None
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        problems.append(Problem('write a time with its offset: "2026-01-31T09:30:00-05:00"', "/at"))
        return None
    if at > now + CLOCKS_APART:
        problems.append(Problem("this lies in the future; enter care once it is done", "/at"))
    if local_date(machine, at) < machine.shipped_on:
        problems.append(
            Problem(f"the machine was shipped only on {machine.shipped_on}; mend the date", "/at")
        )
    return at
