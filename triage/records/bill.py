"""A bill as it is written down: the lines of an estimate or a close-out and what they come to."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal

from triage.values.dataclass_json import LEFT_OUT
from triage.values.money import Money

PROGRAM = "program"


@dataclass(frozen=True, slots=True)
class BilledLine:
    """One line. `paid_by` is the id of warranty terms, or PROGRAM; what a kind of line has not is None."""

    kind: str
    detail: str
    amount: Money
    agreed: Money
    component: str
    paid_by: str
    hours: Decimal | None = field(default=None, metadata=LEFT_OUT)
    number: str | None = field(default=None, metadata=LEFT_OUT)
    quantity: int | None = field(default=None, metadata=LEFT_OUT)
    serials: tuple[str, ...] | None = field(default=None, metadata=LEFT_OUT)
    note: str | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class NotAgreed:
    """A line that the rate agreement does not pay as it stands; `line` is its JSON pointer."""

    line: str
    kind: str
    detail: str
    why: str


@dataclass(frozen=True, slots=True)
class Billed:
    """All lines with their sums: `beyond_warranty` is what the program pays, the deductible with it."""

    lines: tuple[BilledLine, ...]
    total: Money
    claimed: Money
    deductible: Money
    beyond_warranty: Money
    outside: tuple[NotAgreed, ...] = ()
