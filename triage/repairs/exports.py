"""Claims and spend from the closings of all tickets, as rows and as CSV.

CSV is RFC 4180 in UTF-8. A cell that a spreadsheet would take for a formula is preceded by an apostrophe (the
signs are those of OWASP, "CSV Injection", community page; from memory); numbers are left as they are.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
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


def within(at: datetime, first: date | None, last: date | None) -> bool:
    """Whether a moment lies in a period of days (UTC)."""
    day = at.astimezone(UTC).date()
    return (first is None or first <= day) and (last is None or day <= last)


def claim_rows(
    closings: Iterable[tuple[str, Closed]], first: date | None, last: date | None
) -> list[dict[str, Any]]:
    """A row for each line that warranty pays, and one for the deductible, which is taken off."""
    rows: list[dict[str, Any]] = []
    for ticket, closed in closings:
        if not within(closed.at, first, last):
            continue
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


def spend_rows(
    closings: Iterable[tuple[str, Closed]],
    loaded: Iterable[tuple[str, PastRepair]],
    by: SpendBy,
    currency: str,
    first: date | None,
    last: date | None,
) -> list[dict[str, Any]]:
    """What was spent, dearest first. `loaded` are past repairs with their machine's serial.

    Those that a closing stands for are counted once; of the others neither contractor nor claim is on record.
    `outside_agreement` is what of the total the rate agreement does not pay.
    """
    sums: dict[str, list[Decimal]] = {}
    seen: set[tuple[str, datetime]] = set()

    def add(key: str, total: Decimal, spent: Decimal, outside: Decimal = Decimal(0)) -> None:
        held = sums.setdefault(key, [Decimal(0)] * 4)
        for index, value in enumerate((Decimal(1), total, spent, outside)):
            held[index] += value

    for ticket, closed in closings:
        seen.add((ticket, closed.at.astimezone(UTC)))
        spent: Decimal = closed.cost.amount
        if within(closed.at, first, last) and (closed.visited or spent):
            keys: Mapping[SpendBy, str] = {
                "contractor": closed.contractor or NOT_ON_RECORD,
                "machine": closed.machine or NOT_ON_RECORD,
                "cause": closed.cause or NO_FAULT_FOUND,
            }
            add(keys[by], closed.bill.total.amount, spent, closed.bill.not_agreed)
    for serial, repair in loaded:
        known = (repair.ticket, repair.at.astimezone(UTC)) in seen
        if not known and within(repair.at, first, last):
            cost: Decimal = repair.cost.amount
            keys = {"contractor": NOT_ON_RECORD, "machine": serial, "cause": repair.cause or NO_FAULT_FOUND}
            add(keys[by], cost, cost)
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


def as_csv(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """The rows as CSV with a header; lists are joined by blanks."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
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
