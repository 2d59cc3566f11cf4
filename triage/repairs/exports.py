"""Claims and spend from the closings of all tickets, as rows and as CSV.

CSV is RFC 4180 in UTF-8. A cell that a spreadsheet would take for a formula is preceded by an apostrophe (the
signs are those of OWASP, "CSV Injection", community page; from memory); numbers are left as they are.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Literal, TypeAlias

from triage.records.bill import PROGRAM, BilledLine
from triage.records.payloads import Closed
from triage.records.report import PastRepair
from triage.values.errors import InputError, Problem
from triage.values.money import Money
from triage.values.time_zones import day_of

SpendBy: TypeAlias = Literal["contractor", "machine", "cause"]

NOT_ON_RECORD, NO_FAULT_FOUND = "not_on_record", "no_fault_found"

CLAIM_COLUMNS = (
    "closed_at",
    "ticket",
    "machine",
    "model",
    "site",
    "contractor",
    "terms",
    "cause",
    "component",
    "kind",
    "detail",
    "number",
    "quantity",
    "serials",
    "amount",
    "outside_agreement",
    "currency",
    "photos",
)
SPEND_COLUMNS = ("visits", "total", "claimed", "spent", "outside_agreement", "currency")

_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")
_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r", "\n")


def read_days(since: str | None, until: str | None) -> tuple[date | None, date | None]:
    """The first and last day of a period; InputError for what is no date or runs backwards."""
    first, last = _day(since, "query:since"), _day(until, "query:until")
    if first is not None and last is not None and last < first:
        raise InputError([Problem(f"{last} is before {first}; swap the two", "query:until")])
    return first, last


def _day(text: str | None, pointer: str) -> date | None:
    if text is None:
        return None
    try:
        return day_of(text)
    except ValueError as error:
        raise InputError([Problem(str(error), pointer)]) from None


def claim_rows(closings: Iterable[tuple[str, Closed]]) -> list[dict[str, Any]]:
    """A row for each line that warranty pays, and one for the deductible, which is taken off."""
    rows: list[dict[str, Any]] = []
    for ticket, closed in closings:
        bill = closed.bill
        rows += [
            _claim(ticket, closed, line.kind, line.amount, line)
            for line in bill.lines
            if line.paid_by != PROGRAM
        ]
        if bill.deductible.amount:
            rows.append(_claim(ticket, closed, "deductible", -bill.deductible, None))
    return rows


def _claim(ticket: str, closed: Closed, kind: str, amount: Money, line: BilledLine | None) -> dict[str, Any]:
    return {
        "closed_at": closed.at.isoformat(),
        "ticket": ticket,
        "machine": closed.machine,
        "model": closed.model,
        "site": closed.site,
        "contractor": closed.contractor,
        "terms": line and line.paid_by,
        "cause": closed.cause or NO_FAULT_FOUND,
        "component": line and line.component,
        "kind": kind,
        "detail": line and line.detail,
        "number": line and line.number,
        "quantity": line and line.quantity,
        "serials": list((line and line.serials) or ()),
        "amount": f"{amount.amount:f}",
        "outside_agreement": line and line.above and f"{line.above.amount:f}",
        "currency": amount.currency.code,
        "photos": list(closed.photos),
    }


@dataclass(frozen=True, slots=True)
class Spent:
    """What `visits` of one contractor, machine or cause came to; `outside` is not agreed."""

    key: str
    visits: int
    total: Decimal
    spent: Decimal
    outside: Decimal = Decimal(0)


def spend_rows(
    closings: Iterable[Spent], loaded: Iterable[tuple[str, PastRepair]], by: SpendBy, currency: str
) -> list[dict[str, Any]]:
    """What was spent, dearest first. `loaded` are past repairs without a closing, with the serial.

    Of these neither contractor nor claim is on record. `outside_agreement` is what of the total the rate
    agreement does not pay.
    """
    sums: dict[str, list[Decimal]] = {}

    def add(one: Spent) -> None:
        held = sums.get(one.key, [Decimal(0)] * 4)
        more = (Decimal(one.visits), one.total, one.spent, one.outside)
        sums[one.key] = [before + value for before, value in zip(held, more, strict=True)]

    for each in closings:
        add(each)
    for serial, repair in loaded:
        keys = {"contractor": NOT_ON_RECORD, "machine": serial, "cause": repair.cause or NO_FAULT_FOUND}
        add(Spent(keys[by], 1, repair.cost.amount, repair.cost.amount))
    rows = [
        {
            by: key,
            "visits": int(visits),
            "total": f"{total:.2f}",
            "claimed": f"{total - spent:.2f}",
            "spent": f"{spent:.2f}",
            "outside_agreement": f"{outside:.2f}",
            "currency": currency,
        }
        for key, (visits, total, spent, outside) in sums.items()
    ]
    return sorted(rows, key=lambda row: (-Decimal(str(row["spent"])), str(row[by])))


def as_csv(columns: Sequence[str], rows: Iterable[Mapping[str, Any]], head: bool = True) -> str:
    """The rows as CSV, with a header where `head` is; lists are joined by blanks."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    if head:
        writer.writerow(columns)
    for row in rows:
        writer.writerow([safe_cell(row[column]) for column in columns])
    return out.getvalue()


def safe_cell(value: object) -> str:
    """A value as the text of a cell that no spreadsheet takes for a formula."""
    if value is None:
        return ""
    text = " ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)
    if _NUMBER.fullmatch(text):
        return text
    return f"'{text}" if text.startswith(_FORMULA) or text.lstrip().startswith(_FORMULA) else text
