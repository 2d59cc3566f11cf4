"""The recorded tickets of a period, as the numbers are made from them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

from triage.repairs.close_out import COMEBACK_DAYS
from triage.repairs.exports import read_days
from triage.values.errors import InputError, Problem

USUAL_DAYS = 30


YEARS = (1970, 2970)


EARLIER = timedelta(days=COMEBACK_DAYS)
"""Closings this long before the period are needed to tell repeats."""


@dataclass(frozen=True, slots=True)
class OpenedTicket:
    """`checks` holds the last result of each check, `cured_together` where others were done with it.

    `cause`, `cured_by` and `closed_at` are those of a ticket closed now.
    """

    ticket: str
    opened_at: datetime
    machine: str | None
    contractor: str | None
    symptoms: tuple[str, ...]
    first_outcome: str | None
    last_outcome: str | None
    checks: tuple[tuple[str, str], ...] = ()
    cause: str | None = None
    cured_by: str | None = None
    closed_at: datetime | None = None
    site: str | None = None


@dataclass(frozen=True, slots=True)
class Closing:
    """One closing. `stands`: it is the ticket's last and the ticket is closed now. `cost` is after warranty,
    `outside` what of the bill the rate agreement does not pay.

    `scheduled` counts the visits ever scheduled for the ticket; `top_cause` is what its last decision ranked
    first, with the chance it gave it.
    """

    ticket: str
    seq: int
    at: datetime
    opened_at: datetime
    machine: str | None
    contractor: str | None
    cause: str | None
    cured_by: str | None
    visited: bool
    cost: Decimal
    stands: bool
    outside: Decimal = Decimal(0)
    scheduled: int = 0
    top_cause: str | None = None
    top_chance: float | None = None


@dataclass(frozen=True, slots=True)
class Approval:
    ticket: str
    seq: int
    at: datetime
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was recorded. `closings` are all of every ticket closed since EARLIER before the period.

    `opened`, `approvals` and `sent` (contractor of each visit) are of the period; `held` says since when each
    ticket on hold now waits.
    """

    opened: Sequence[OpenedTicket] = ()
    closings: Sequence[Closing] = ()
    approvals: Sequence[Approval] = ()
    sent: Sequence[str | None] = ()
    held: Sequence[datetime] = ()
    reopened: int = 0


@dataclass(frozen=True, slots=True)
class Period:
    """From the beginning of day `first` to the end of day `last`, in UTC."""

    first: date
    last: date
    since: datetime
    until: datetime

    def holds(self, at: datetime) -> bool:
        return self.since <= at < self.until


def read_period(since: str | None, until: str | None, now: datetime) -> Period:
    """The period of two days, both included; without them the last USUAL_DAYS, up to today. InputError."""
    first, last = read_days(since, until)
    today = now.astimezone(UTC).date()
    last = last or max(today, first or today)
    if not (YEARS[0] <= (first or last).year and last.year <= YEARS[1]):
        raise InputError([Problem(f"give days between the years {YEARS[0]} and {YEARS[1]}", "query:since")])
    first = first or last - timedelta(days=USUAL_DAYS - 1)
    start = datetime.combine(first, time(), UTC)
    return Period(first, last, start, datetime.combine(last, time(), UTC) + timedelta(days=1))
