"""What each kind of event carries, as it is stored: `as_data` writes it, `payload_from_data` reads it.

A payload's class says its kind. Stored data outlives the code: a class grows only by fields with a default.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, ClassVar, Literal, TypeAlias, get_args

from triage.records.bill import Ask, Billed, Comeback, Speaker
from triage.records.callers_words import Forgotten
from triage.values.dataclass_json import FLAT, LEFT_OUT, from_data
from triage.values.money import Money

JSONObject: TypeAlias = Mapping[str, Any]
Lifting: TypeAlias = Literal["misread", "safe"]


@dataclass(frozen=True, slots=True)
class Reported:
    """`report` is REPORT.json."""

    kind: ClassVar[str] = "reported"
    report: JSONObject
    machine: str | None = None
    site: str | None = None
    contractor: str | None = None


@dataclass(frozen=True, slots=True)
class Answered:
    """Facts by id. `said` are words that say more than the values, `corrects` what the record said."""

    kind: ClassVar[str] = "answered"
    answers: JSONObject
    said: Mapping[str, str] | None = field(default=None, metadata=LEFT_OUT)
    corrects: JSONObject | None = field(default=None, metadata=LEFT_OUT)
    by: str | None = field(default=None, metadata=LEFT_OUT)  # "technician" where one answered


@dataclass(frozen=True, slots=True)
class CheckDone:
    """`result` (cured, not_cured, could_not_do) is that of all done `together` before one wait."""

    kind: ClassVar[str] = "check_done"
    check: str
    result: str
    together: tuple[str, ...] | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class Decided:
    """The contract's JSON and what it was decided from; `left_out` of the report, as no longer known."""

    kind: ClassVar[str] = "decided"
    decision: JSONObject
    inputs: JSONObject
    left_out: tuple[str, ...] | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class Estimated:
    """A technician's estimate, priced and answered. `revision` counts from 1; `ask` only with `hold`."""

    kind: ClassVar[str] = "estimated"
    revision: int
    cause: str
    component: str
    bill: Billed = field(metadata=FLAT)
    answer: str  # approve, hold or swap
    reasons: tuple[str, ...]
    ask: Ask | None = None
    claim_needs: tuple[str, ...] = ()
    at_risk: tuple[str, ...] = ()
    note: str = ""
    after_hours: bool | None = field(default=None, metadata=LEFT_OUT)  # what it says; None: nothing


@dataclass(frozen=True, slots=True)
class Approved:
    """An answer to the estimate of that revision, 0 where there was none; without `authority` the standing
    limit's. With a yes, `number` names the authorization of `amount`, which ends at `expires_at`. `person` is
    who spoke as the authority.
    """

    kind: ClassVar[str] = "approved"
    estimate: int
    authority: str | None
    yes: bool
    amount: Money | None
    number: str | None
    expires_at: datetime | None
    why: str
    speaker: Speaker | None = field(default=None, metadata=FLAT)
    person: str | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class Dispatched:
    """A visit scheduled, or moved where `visit` is a number used before. `day` is the site's.

    `passed_over` says why the contractor that had the machine in its care is not sent.
    """

    kind: ClassVar[str] = "dispatched"
    visit: int
    at: datetime
    day: date
    minutes: int
    contractor: str | None
    passed_over: tuple[str, ...]
    purpose: str  # the outcome that it is for
    skill: str
    priority: int | None
    due: datetime | None
    kit: tuple[str, ...]
    technician: str
    way_in: str | None = field(default=None, metadata=LEFT_OUT)  # who lets the technician in, and where


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """Another is sent: what `contractor` estimated, and the `authorization` that stood open, if any, end."""

    kind: ClassVar[str] = "withdrawn"
    contractor: str | None
    authorization: str | None
    why: str


@dataclass(frozen=True, slots=True)
class Visited:
    kind: ClassVar[str] = "visited"
    visit: int
    state: Literal["started", "done"]
    at: datetime


@dataclass(frozen=True, slots=True)
class SwapReserved:
    """`unit` is a depot unit's serial, None where the one set aside is taken back."""

    kind: ClassVar[str] = "swap_reserved"
    unit: str | None
    depot: str | None = None
    instead_of: str | None = None


@dataclass(frozen=True, slots=True)
class Swapped:
    """Both serials, and what becomes of the old unit."""

    kind: ClassVar[str] = "swapped"
    old: str
    new: str
    old_unit: Literal["refurbish", "scrap", "return"]
    at: datetime


@dataclass(frozen=True, slots=True)
class Closed:
    """The close-out. `cause` None: no fault found. `cost` is what the program pays, after warranty."""

    kind: ClassVar[str] = "closed"
    cause: str | None
    no_fault_found: bool
    cured_by: str
    visited: bool
    cost: Money
    bill: Billed = field(metadata=FLAT)
    hours: Decimal
    photos: tuple[str, ...]
    authorization: str | None
    at: datetime
    note: str
    comeback_of: Comeback | None
    machine: str | None
    model: str | None
    site: str | None
    contractor: str | None


@dataclass(frozen=True, slots=True)
class Reopened:
    """`at` is when the fault of the new repair was reported; of older events it is not known."""

    kind: ClassVar[str] = "reopened"
    why: str
    at: datetime | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class Skipped:
    """Facts that the clerk could not tell, and the words in which it was said where they say more."""

    kind: ClassVar[str] = "skipped"
    facts: tuple[str, ...]
    said: str | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class Noted:
    """A note added to the ticket, or words said beside a deed of a repair in which a danger is heard."""

    kind: ClassVar[str] = "noted"
    said: str


@dataclass(frozen=True, slots=True)
class Detailed:
    """Whom to call back, or which machine it is, told after the report; None: as it was."""

    kind: ClassVar[str] = "detailed"
    caller: str | None = field(default=None, metadata=LEFT_OUT)
    phone: str | None = field(default=None, metadata=LEFT_OUT)
    machine: str | None = field(default=None, metadata=LEFT_OUT)
    site: str | None = field(default=None, metadata=LEFT_OUT)
    contractor: str | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class Undone:
    """Event `seq` was taken back; `report` is REPORT.json without it."""

    kind: ClassVar[str] = "undone"
    seq: int
    report: JSONObject


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """Stop-use cautions that were read out to the clerk."""

    kind: ClassVar[str] = "acknowledged"
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DangerLifted:
    """With `misread` the words and answers of `facts` are taken back; with `quotes` only these words."""

    kind: ClassVar[str] = "danger_lifted"
    caution: str
    how: Lifting
    why: str
    facts: tuple[str, ...] = ()
    quotes: tuple[str, ...] | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class Spoken:
    """The language that the clerk is spoken to in from now on, such as "es"."""

    kind: ClassVar[str] = "spoken"
    language: str


@dataclass(frozen=True, slots=True)
class Parked:
    """The wait for a check's result ("" where something else is waited for), and when to call back."""

    kind: ClassVar[str] = "parked"
    check: str
    until: datetime


Payload: TypeAlias = (
    Reported
    | Answered
    | CheckDone
    | Decided
    | Estimated
    | Approved
    | Dispatched
    | Withdrawn
    | Visited
    | SwapReserved
    | Swapped
    | Closed
    | Reopened
    | Skipped
    | Noted
    | Detailed
    | Undone
    | Acknowledged
    | Parked
    | DangerLifted
    | Spoken
    | Forgotten
)
PAYLOADS: Mapping[str, type[Payload]] = {each.kind: each for each in get_args(Payload)}
"""Kind of event -> what it carries."""


def payload_from_data(kind: str, data: JSONObject) -> Payload:
    """The payload of a stored event."""
    return from_data(PAYLOADS[kind], data)
