"""What comes in: a trouble report, the machine's record, and its history, as immutable values.

`report_input` and `machine_input` read them from JSON data with all problems listed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from typing import Literal, TypeAlias

from dateutil.relativedelta import relativedelta
from moneyed import Money

from triage.logic.conditions import Scalar
from triage.values.time_zones import UTC_NAME, zone_named


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What came of an in-store check, or of it and those done `together` with it before the same wait."""

    check: str
    result: Literal["cured", "not_cured", "could_not_do"]
    together: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class EstimateTotal:
    """A technician's estimate as far as the decision needs it. `beyond_warranty` is what the program pays.

    `outside_agreement` is what of the total the rate agreement does not pay; None: nothing.
    """

    total: Money
    beyond_warranty: Money
    outside_agreement: Money | None = None


@dataclass(frozen=True, slots=True)
class Report:
    """One trouble report as known so far. `reported_at` is timezone-aware; `answers` are facts by id."""

    symptoms: tuple[str, ...]
    reported_at: datetime
    machine: str | None = None  # serial
    answers: Mapping[str, Scalar] = field(default_factory=dict)
    checks: tuple[CheckResult, ...] = ()
    estimate: EstimateTotal | None = None
    note: str = ""
    visit_at: datetime | None = None  # when someone is to come, as last planned; timezone-aware
    after_hours: bool | None = None  # whether the work is done after hours, as the technician says
    unknown: tuple[str, ...] = ()  # facts the clerk could not tell: not asked again
    follows: str | None = None  # the closed ticket whose trouble is back
    forgotten: tuple[str, ...] = ()  # taken as not known, whoever says them; only a what-if does so

    @property
    def performed(self) -> frozenset[str]:
        """The checks that were done, whatever came of them."""
        return frozenset(done.check for done in self.checks if done.result != "could_not_do")


@dataclass(frozen=True, slots=True)
class Site:
    id: str
    name: str
    town: str
    timezone: str  # an IANA name
    phone: str = ""
    distance_km: int = 0  # from the contractor's base
    open_around_the_clock: bool = False
    access_from: str = ""  # "07:00": from when on somebody is let in, on the site's clock; "": at any time
    access_until: str = ""
    email: str = ""  # where reminders of care go


@dataclass(frozen=True, slots=True)
class Machine:
    """The machine's record. `facts` are recorded facts by id: circuit, clearance, seal style, night mode …"""

    serial: str
    model: str
    shipped_on: date
    commissioned_on: date | None = None
    site: Site | None = None
    contractor: str | None = None
    asset_tag: str = ""
    price: Money | None = None
    facts: Mapping[str, Scalar] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PastRepair:
    """A closed visit: when, which ticket, the confirmed cause (None: no fault found) and what it cost."""

    at: datetime
    ticket: str
    cause: str | None
    cost: Money


CareKind: TypeAlias = Literal["filter_cleaned", "fully_cleaned", "commissioned"]


@dataclass(frozen=True, slots=True)
class CareEvent:
    """One line of the care log. `at` is timezone-aware; `by` is a role such as "store" or "installer"."""

    kind: CareKind
    at: datetime
    by: str
    details: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class History:
    """What happened to one machine before. `spent_on_ticket` is what this ticket has cost already.

    `promised` is what stands authorized on the machine's other tickets.
    """

    care: tuple[CareEvent, ...] = ()
    repairs: tuple[PastRepair, ...] = ()
    spent_on_ticket: Money | None = None
    promised: Money | None = None


def local_date(machine: Machine | None, now: datetime) -> date:
    """The day `now` falls on at the machine's site; in UTC where no site is known."""
    return now.astimezone(zone_named(timezone_of(machine))).date()


def timezone_of(place: Machine | Site | None) -> str:
    """The site's time zone; UTC where no site is known."""
    site = place.site if isinstance(place, Machine) else place
    return UTC_NAME if site is None else site.timezone


@lru_cache(maxsize=4096)
def whole_months(start: date, end: date) -> int:
    """Full calendar months from `start` to `end`; 0 when `end` comes first."""
    if end < start:
        return 0
    step = relativedelta(end, start)
    return step.years * 12 + step.months
