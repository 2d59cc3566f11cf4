"""A new line of a machine's care log, as people enter it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any, cast, get_args

from triage.machine.commissioning.checklist import read_checklist
from triage.records.report import CareEvent, CareKind, Machine, local_date
from triage.values.errors import InputError, Problem
from triage.values.plain_data import NotPlain, plain
from triage.values.suggest import hint
from triage.values.time_zones import lies_ahead, moment_of

KINDS = get_args(CareKind)


def read_care_event(
    data: Mapping[str, Any], machine: Machine, now: datetime, by: str
) -> tuple[CareEvent, Machine]:
    """The event, and the machine's record after it: the first commissioning gives the commissioning date.

    The details of `commissioned` are the installer's checklist, whose own time counts where `at` is left out.
    Raises InputError with every problem found.
    """
    problems: list[Problem] = []
    kind = data.get("kind")
    if kind not in KINDS:
        fix = hint(str(kind), KINDS, f"; kinds are {', '.join(KINDS)}")
        problems.append(Problem(f'no kind of care "{kind}"{fix}', "/kind"))
    details = data.get("details") or {}
    if not isinstance(details, Mapping):
        problems.append(Problem("details are an object: name -> value", "/details"))
    else:
        try:
            plain(details)
        except NotPlain as error:
            problems.append(Problem(str(error), "/details"))
    place, said_at = "/at", data.get("at")
    if kind == "commissioned" and not any(problem.pointer == "/details" for problem in problems):
        checked = _checked(details, machine, problems)
        if said_at is None and checked:
            place, said_at = "/details/at", details.get("at")
    at = _time(said_at, place, now, machine, problems)
    if problems or at is None:
        raise InputError(problems)
    event = CareEvent(cast(CareKind, kind), at, by, dict(details))
    if event.kind == "commissioned" and machine.commissioned_on is None:
        machine = replace(machine, commissioned_on=local_date(machine, at))
    return event, machine


def _checked(details: Mapping[str, Any], machine: Machine, problems: list[Problem]) -> bool:
    """Whether the details can be read as an installer's checklist; adds the problems."""
    try:
        checklist = read_checklist(details)
    except InputError as error:
        problems.extend(Problem(each.message, f"/details{each.pointer or ''}") for each in error.problems)
        return False
    if checklist.machine not in (None, machine.serial):
        message = f'the checklist is about "{checklist.machine}", not about "{machine.serial}"'
        problems.append(Problem(message, "/details/machine"))
    return True


def _time(
    raw: object, place: str, now: datetime, machine: Machine, problems: list[Problem]
) -> datetime | None:
    if raw is None:
        return now
    try:
        at = moment_of(raw if isinstance(raw, str) else "")
    except ValueError as error:
        problems.append(Problem(str(error), place))
        return None
    if lies_ahead(at, now) is not None:
        problems.append(Problem("this lies in the future; enter care once it is done", place))
    if local_date(machine, at) < machine.shipped_on:
        problems.append(Problem(f"the machine was shipped only on {machine.shipped_on}; fix the date", place))
    return at
