"""Periods of whole days, and what the tickets of a day add up to.

Periods are sums of days, which the database makes; a day is folded from its tickets once, and again after one
of them changes.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Literal, TypeAlias, get_args

from triage.repairs.exports import read_days
from triage.values.errors import InputError, Problem

USUAL_DAYS = 30
YEARS = (1970, 2970)

By: TypeAlias = Literal["all", "site", "contractor", "model", "cause", "symptom", "outcome"]
GROUPS: tuple[By, ...] = get_args(By)
NOT_KNOWN = "not_known"


@dataclass(slots=True)
class Sums:
    """What tickets come to: those opened, of these on a machine, and repeats; events; closings; scores;
    closings that cost something under a known limit, and those above it; machines swapped."""

    opened: int = 0
    on_machine: int = 0
    repeats: int = 0
    reopened: int = 0
    visits_sent: int = 0
    approved: Decimal = Decimal(0)
    closed: int = 0
    hours: float = 0.0
    in_store: int = 0
    came_to: int = 0
    first_visit: int = 0
    confirmed: int = 0
    first_ranked: int = 0
    spent: Decimal = Decimal(0)
    outside: Decimal = Decimal(0)
    scored: int = 0
    log_loss: float = 0.0
    brier: float = 0.0
    limited: int = 0
    over_limit: int = 0
    swaps: int = 0

    def __add__(self, other: "Sums") -> "Sums":
        return Sums(*(getattr(self, name) + getattr(other, name) for name in MEASURES))


MEASURES = tuple(each.name for each in fields(Sums))


@dataclass(slots=True)
class Tally:
    """How often something was seen, the sum of its values and of their squares."""

    count: int = 0
    total: float = 0.0
    squares: float = 0.0

    def add(self, value: float = 0.0) -> None:
        self.count += 1
        self.total += value
        self.squares += value * value


Counted: TypeAlias = Literal[
    "last_outcome", "hours", "wait", "chance", "check", "rule", "question", "visit_cost", "swap"
]
COUNTED: tuple[Counted, ...] = get_args(Counted)


@dataclass(frozen=True, slots=True)
class DaySums:
    """What one day adds, by (group, key), and how often each thing was seen, by (what, key)."""

    sums: defaultdict[tuple[By, str], Sums] = field(default_factory=lambda: defaultdict(Sums))
    tallies: defaultdict[tuple[Counted, str], Tally] = field(default_factory=lambda: defaultdict(Tally))


@dataclass(frozen=True, slots=True)
class Place:
    """What a ticket is counted under."""

    site: str | None
    contractor: str | None
    model: str | None
    cause: str
    symptoms: tuple[str, ...]
    outcome: str | None

    def groups(self) -> Iterator[tuple[By, str]]:
        yield "all", ""
        yield "site", self.site or NOT_KNOWN
        yield "contractor", self.contractor or NOT_KNOWN
        yield "model", self.model or NOT_KNOWN
        yield "cause", self.cause
        yield "outcome", self.outcome or NOT_KNOWN
        yield from (("symptom", symptom) for symptom in dict.fromkeys(self.symptoms))


@dataclass(frozen=True, slots=True)
class OpenedTicket:
    """A ticket of the day. `closed_before` is when another of its machine was last closed before it.

    `checks` holds the last result of each check, `cured_together` where others were done with it. `cured_by`
    and `closed_at` are those of a ticket closed now.
    """

    place: Place
    opened_at: datetime
    machine: str | None
    last_outcome: str | None
    checks: tuple[tuple[str, str], ...] = ()
    cured_by: str | None = None
    closed_at: datetime | None = None
    closed_before: datetime | None = None


@dataclass(frozen=True, slots=True)
class Closing:
    """A closing of the day. `stands`: it is the ticket's last, and the ticket is closed now.

    `cost` is after warranty, `outside` what of the bill the rate agreement does not pay. `visits` counts the
    closings of the ticket with a visit, `scheduled` the visits ever scheduled for it. `top_cause` is what the
    last decision ranked first, with its chance. `log_loss` and `brier` score that decision, `nte` is what
    it said may be spent without asking, and `rules` says by how much the log loss would be another without
    each rule.
    """

    place: Place
    opened_at: datetime
    at: datetime
    cause: str | None
    cured_by: str
    visited: bool
    cost: Decimal
    outside: Decimal
    stands: bool
    scheduled: int
    visits: int
    top_cause: str | None = None
    top_chance: float | None = None
    log_loss: float | None = None
    brier: float | None = None
    nte: Decimal | None = None
    rules: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Asked:
    """A question that was answered, or could not be (`told` False), and what it was said to save.

    `changed`: the answer made another outcome, or another check the first to do.
    """

    fact: str
    told: bool
    changed: bool
    saves: Decimal


@dataclass(frozen=True, slots=True)
class SwapSaid:
    """What a decision to swap said: the cost, the repair due, and a year of keeping and of swapping."""

    cost: Decimal
    repair: Decimal
    keep_year: Decimal
    swap_year: Decimal


@dataclass(frozen=True, slots=True)
class Swap:
    """A machine swapped; `said` is None where its decision compared nothing."""

    place: Place
    said: SwapSaid | None


@dataclass(frozen=True, slots=True)
class DayRows:
    """What was recorded of a day. `sent` and `reopened` are places of visits first scheduled and of reopened
    tickets, `approved` the amounts that no later approval of the ticket replaced before it was closed.
    """

    opened: tuple[OpenedTicket, ...] = ()
    closings: tuple[Closing, ...] = ()
    sent: tuple[Place, ...] = ()
    reopened: tuple[Place, ...] = ()
    approved: tuple[tuple[Place, Decimal], ...] = ()
    asked: tuple[Asked, ...] = ()
    swapped: tuple[Swap, ...] = ()


@dataclass(frozen=True, slots=True)
class Period:
    """From the beginning of day `first` to the end of day `last`, in UTC."""

    first: date
    last: date

    @property
    def since(self) -> datetime:
        return datetime.combine(self.first, time(), UTC)

    @property
    def until(self) -> datetime:
        return datetime.combine(self.last, time(), UTC) + timedelta(days=1)

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1


def read_period(since: str | None, until: str | None, now: datetime) -> Period:
    """The period of two days, both included; without them the last USUAL_DAYS, up to today. InputError."""
    first, last = read_days(since, until)
    today = now.astimezone(UTC).date()
    last = last or max(today, first or today)
    if not (YEARS[0] <= (first or last).year and last.year <= YEARS[1]):
        raise InputError([Problem(f"give days between the years {YEARS[0]} and {YEARS[1]}", "query:since")])
    return Period(first or last - timedelta(days=USUAL_DAYS - 1), last)
