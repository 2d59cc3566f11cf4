"""What comes in: a trouble report, the machine's record, and its history, as immutable values.

`report_input` and `machine_input` read them from JSON data with all problems listed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from moneyed import Money

from triage.logic.conditions import Scalar
from triage.machine.measures.upkeep import CareEvent


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What came of an in-store check."""

    check: str
    result: Literal["cured", "not_cured", "could_not_do"]


@dataclass(frozen=True, slots=True)
class EstimateTotal:
    """A technician's estimate as far as the decision needs it. `beyond_cover` is what the programme pays."""

    total: Money
    beyond_cover: Money


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
    unknown: tuple[str, ...] = ()  # facts the clerk could not tell: not asked again
    forgotten: tuple[str, ...] = ()  # taken as not known, whoever says them; only a what-if does so


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


@dataclass(frozen=True, slots=True)
class History:
    """What happened to one machine before. `spent_on_ticket` is what this ticket has cost already."""

    care: tuple[CareEvent, ...] = ()
    repairs: tuple[PastRepair, ...] = ()
    spent_on_ticket: Money | None = None
