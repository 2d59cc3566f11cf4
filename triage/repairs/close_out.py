"""Closing a ticket: what it was, what cured it, what it took; and whether the machine came back too soon."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from triage.inputs.reader import InputReader
from triage.records.bill import Comeback
from triage.records.report import Machine, PastRepair, local_date
from triage.records.ticket import Ticket
from triage.repairs.estimate_input import (
    MOST_HOURS,
    MOST_TEXT,
    AskedLine,
    WorkTime,
    read_cause,
    read_lines,
    read_number,
    read_work_time,
)
from triage.rulebook.model import Rulebook
from triage.values.errors import ConflictError
from triage.values.shown import hint
from triage.values.time_zones import CLOCKS_APART, lies_ahead

NO_FAULT_FOUND = "no_fault_found"
REPAIR, NOTHING = "repair", "nothing"
CLOSE_KEYS = (
    "cause",
    "cured_by",
    "lines",
    "after_hours",
    "work_from",
    "hours",
    "photos",
    "authorization",
    "at",
    "note",
    "made_safe",
)
MOST_PHOTOS = 40
COMEBACK_DAYS = 30
"""A new report this soon after a visit is that visit's comeback. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class CloseOut:
    """A closing as asked for. `cause` None: no fault found. `cured_by`: `repair`, `nothing`, or a check's id.

    `hours` are those worked on site; `visited` says that somebody came.
    `made_safe` are the cautions whose danger is gone, True for all that stand open.
    """

    cause: str | None
    cured_by: str
    lines: tuple[AskedLine, ...]
    time: WorkTime
    hours: Decimal
    photos: tuple[str, ...]
    authorization: str | None
    at: datetime
    note: str
    made_safe: tuple[str, ...] | bool = ()

    @property
    def visited(self) -> bool:
        return bool(self.lines) or self.hours > 0 or self.cured_by == REPAIR

    def says_safe(self, caution: str) -> bool:
        """Whether it says that the danger of a caution is gone."""
        return self.made_safe is True or (self.made_safe is not False and caution in self.made_safe)


def read_close_out(
    data: object, rulebook: Rulebook, machine: Machine | None, opened_at: datetime, now: datetime
) -> CloseOut:
    """A closing from JSON data; a missing `at` is now. Raises InputError listing every problem."""
    read = InputReader(rulebook)
    top = read.mapping(data, "", CLOSE_KEYS, "a closing")
    lines = read_lines(read, top.get("lines"), "/lines")
    cause = None
    if top.get("cause") is None:
        read.problem(f'say what it was: a cause of the rulebook, or "{NO_FAULT_FOUND}"', "/cause")
    elif top["cause"] != NO_FAULT_FOUND:
        cause = read_cause(read, top["cause"], "/cause")
    cured_by = _cured_by(read, top.get("cured_by"))
    if top.get("cause") == NO_FAULT_FOUND and cured_by == REPAIR:
        read.problem("where no fault was found nothing was repaired; name the cause", "/cured_by")
    hours = sum((line.hours for line in lines if line.kind == "labor"), Decimal(0))
    if top.get("hours") is not None:
        hours = read_number(read, top["hours"], "/hours", "hours", MOST_HOURS)
    photos = read.each(top.get("photos"), "/photos", read.name)
    if len(photos) > MOST_PHOTOS:
        read.problem(f"there are {len(photos)} photos; at most {MOST_PHOTOS} are noted", "/photos")
    close_out = CloseOut(
        cause=cause,
        cured_by=cured_by,
        lines=lines,
        time=read_work_time(read, top),
        hours=hours,
        photos=tuple(photos),
        authorization=read.name(top.get("authorization"), "/authorization"),
        at=_moment(read, top.get("at"), machine, opened_at, now),
        note=read.text(top.get("note"), "/note", MOST_TEXT),
        made_safe=_made_safe(read, top.get("made_safe")),
    )
    read.finish()
    return close_out


def _cured_by(read: InputReader, raw: object) -> str:
    words = (REPAIR, NOTHING, *read.rulebook.checks)
    if isinstance(raw, str) and raw in words:
        return raw
    fix = hint(str(raw)[:60], words, f'; it is "{REPAIR}", "{NOTHING}" or a check of the rulebook')
    read.problem(f'"{str(raw)[:60]}" does not say what fixed it{fix}', "/cured_by")
    return NOTHING


def _made_safe(read: InputReader, raw: object) -> tuple[str, ...] | bool:
    if isinstance(raw, bool):
        return raw
    return tuple(dict.fromkeys(read.each(raw, "/made_safe", read.name)))


def _moment(
    read: InputReader, raw: object, machine: Machine | None, opened_at: datetime, now: datetime
) -> datetime:
    if raw is None:
        return now
    before = len(read.problems)
    at = read.moment(raw, "/at")
    if len(read.problems) > before:
        return at
    ahead = lies_ahead(at, now)
    if ahead is not None:
        read.problem(ahead, "/at")
    elif at < opened_at - CLOCKS_APART:
        message = f"{at.isoformat()} is before the ticket was opened ({opened_at.isoformat()}); fix the time"
        read.problem(message, "/at")
    elif machine is not None and local_date(machine, at) < machine.shipped_on:
        read.problem(f"the machine was shipped only on {machine.shipped_on}; fix the date", "/at")
    return at


def refuse_late(ticket: Ticket, machine: Machine | None, days: int, now: datetime) -> None:
    """Raises ConflictError after the last day, at the site, on which a closed ticket is reopened."""
    assert ticket.closed is not None
    closed_on = local_date(machine, ticket.closed.at)
    last = closed_on + timedelta(days=days)
    if local_date(machine, now) > last:
        raise ConflictError(
            f"ticket {ticket.id} was closed on {closed_on} and could be reopened until {last} "
            f'({days} days); open a new ticket instead, with "follows": "{ticket.id}" in its report'
        )


def comeback_of(
    repairs: Iterable[PastRepair], ticket: str, opened_at: datetime, cause: str | None
) -> Comeback | None:
    """The last visit for another ticket within COMEBACK_DAYS before this one was opened."""
    earlier = [
        repair
        for repair in repairs
        if repair.ticket != ticket and timedelta(0) <= opened_at - repair.at <= timedelta(days=COMEBACK_DAYS)
    ]
    if not earlier:
        return None
    last = max(earlier, key=lambda repair: repair.at)
    same_cause = cause is not None and cause == last.cause
    return Comeback(last.ticket, last.at, (opened_at - last.at).days, same_cause)
