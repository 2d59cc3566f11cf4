"""A bill as it is written down: lines of an estimate or a close-out, what they come to, and who is asked."""

from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from triage.values.dataclass_json import LEFT_OUT, key
from triage.values.money import Money

PROGRAM = "program"


@dataclass(frozen=True, slots=True)
class BilledLine:
    """One line. `paid_by` is the id of warranty terms, or PROGRAM; what a kind of line has not is None.

    `above` is what of the amount the rate agreement does not pay.
    """

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
    above: Money | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class NotAgreed:
    """A line that the rate agreement does not pay as it stands; `line` is its JSON pointer."""

    line: str
    kind: str
    detail: str
    why: str


@dataclass(frozen=True, slots=True)
class Billed:
    """All lines with their sums: `beyond_warranty` is what the program pays, the deductible with it.

    `outside` says why lines are not agreed, `outside_agreement` what all of that comes to.
    """

    lines: tuple[BilledLine, ...]
    total: Money
    claimed: Money
    deductible: Money
    beyond_warranty: Money
    outside: tuple[NotAgreed, ...] = ()
    outside_agreement: Money | None = field(default=None, metadata=LEFT_OUT)

    @property
    def not_agreed(self) -> Decimal:
        """What the rate agreement does not pay; of an older bill, what lines are above their agreed price."""
        if self.outside_agreement is not None:
            return self.outside_agreement.amount
        above = (line.amount.amount - line.agreed.amount for line in self.lines)
        return sum((max(amount, Decimal(0)) for amount in above), Decimal(0))


@dataclass(frozen=True, slots=True)
class Deputy:
    authority: str
    title: str


@dataclass(frozen=True, slots=True)
class Ask:
    """Whose yes is wanted, up to what the ticket may come with it (None: any amount), and who speaks."""

    authority: str
    title: str
    up_to: Money | None
    absent_until: date | None
    deputy: Deputy | None
    reach: str


@dataclass(frozen=True, slots=True)
class Speaker:
    """Who spoke: an authority's title, and the one whose ceiling was used where that is another."""

    title: str
    on_behalf_of: str | None = field(default=None, metadata=key("for"))


@dataclass(frozen=True, slots=True)
class Comeback:
    """The visit after which the machine came back too soon, and how many days."""

    ticket: str
    at: datetime
    days: int
    same_cause: bool
