"""The last twelve months of a machine as a strip: each visit where it falls, what it was, what it cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from babel.dates import format_date
from dateutil.relativedelta import relativedelta

from api.pages.texts import gettext, ngettext, page_language
from api.pages.words import title_words
from triage.records.report import PastRepair, local_date
from triage.records.ticket import Ticket
from triage.rulebook.model import Rulebook
from triage.service.machines import MachineView

WIDTH, HEIGHT = 600, 64
"""Of the drawing, in its own units; a month is a twelfth of the width."""
REPEAT_DAYS = 90
"""Days within which an earlier call is said up front."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One closed visit; `x` is its place on the strip, `height` its cost against the dearest one."""

    x: float
    height: float
    repair: PastRepair
    cause: str


@dataclass(frozen=True, slots=True)
class Month:
    x: float
    name: str


@dataclass(frozen=True, slots=True)
class Year:
    """`visits` are newest first; `spent` is what they came to for the program, in the rulebook's currency."""

    months: tuple[Month, ...]
    visits: tuple[Visit, ...]
    spent: Decimal


def year_of(rulebook: Rulebook, view: MachineView, now: datetime) -> Year:
    today = local_date(view.machine, now)
    first = (today - relativedelta(months=11)).replace(day=1)
    starts = [first + relativedelta(months=number) for number in range(13)]
    days = (starts[-1] - first).days
    found = [
        repair
        for repair in view.history.repairs
        if repair.at <= now and local_date(view.machine, repair.at) >= first
    ]
    dearest = max((repair.cost.amount for repair in found), default=Decimal(0)) or Decimal(1)
    visits = [
        Visit(
            round((local_date(view.machine, repair.at) - first).days / days * WIDTH, 1),
            round(float(repair.cost.amount / dearest) * (HEIGHT - 24) + 6, 1),
            repair,
            _cause(rulebook, repair.cause),
        )
        for repair in sorted(found, key=lambda repair: repair.at, reverse=True)
    ]
    language = page_language()
    months = [
        Month(
            round((start - first).days / days * WIDTH, 1),
            format_date(start, "LLL", locale=language)[:3],  # "sept" runs into its neighbor
        )
        for start in starts[:-1]
    ]
    return Year(tuple(months), tuple(visits), sum((each.cost.amount for each in found), Decimal(0)))


def _cause(rulebook: Rulebook, cause: str | None) -> str:
    if cause is None:
        return gettext("No fault found")
    return title_words(rulebook.causes, cause)


def calls_lately(tickets: Sequence[Ticket], now: datetime) -> str:
    """That somebody has called about this machine before, lately; empty where nobody has."""
    lately = [ticket for ticket in tickets if now - ticket.opened_at <= timedelta(days=REPEAT_DAYS)]
    if not lately:
        return ""
    return ngettext(
        "This machine was reported %(num)s time before in the last 90 days.",
        "This machine was reported %(num)s times before in the last 90 days.",
        len(lately),
    )
