"""What people type of money, and the lines of a bill as a form and as the data that the service reads."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from api.pages.texts import gettext, tell
from triage.records.bill import BilledLine
from triage.values.errors import Problem, path_to
from triage.values.money import typed_amount
from triage.values.plain_data import exact_number


def typed_number(text: str) -> Decimal | str:
    """A number, "1.5" or "1,5"; other text as it is."""
    try:
        found = exact_number(text.replace(",", "."))
    except ValueError:
        return text
    return found


MOST_PARTS = 12
TIMED = ("labor", "second_technician")


def kind_words(kind: str) -> str:
    """What a line is for."""
    return {
        "trip": gettext("Trip"),
        "distance": gettext("Distance"),
        "labor": gettext("Labor"),
        "second_technician": gettext("Second technician"),
        "part": gettext("Part"),
        "freight": gettext("Freight"),
        "tax": gettext("Tax"),
    }.get(kind, kind)


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the form: the name of its fields, its line's kind, its title, and which fields it has."""

    name: str
    kind: str
    title: str

    @property
    def hours(self) -> bool:
        return self.kind in TIMED

    @property
    def part(self) -> bool:
        return self.kind == "part"

    @property
    def given(self) -> bool:
        """Whether an amount alone says that the line is there; else it can be ticked, filled or chosen."""
        return self.kind == "tax"


def rows(parts: int = MOST_PARTS) -> tuple[Row, ...]:
    """The lines that can be entered, in the order of a bill, with so many of parts."""
    return (
        *(Row(kind, kind, kind_words(kind)) for kind in ("trip", "distance", *TIMED)),
        *(Row(f"part{n}", "part", gettext("Part %(number)s", number=n)) for n in range(1, parts + 1)),
        *(Row(kind, kind, kind_words(kind)) for kind in ("freight", "tax")),
    )


def lines_of(form: Mapping[str, str], currency: str) -> list[dict[str, Any]]:
    """The lines that are filled in; one without an amount is priced by the agreement.

    What is no number stays as it was written, for the service to say what is wrong with it.
    """
    return [line for row in rows() if (line := _line(row, form, currency))]


def placed(problem: Problem, form: Mapping[str, str], currency: str) -> Problem:
    """A problem with the row of the form that it is about, instead of a place in the data."""
    place = path_to(problem.pointer or "")
    if len(place) < 2 or place[0] != "lines" or not place[1].isdigit():
        return problem
    sent = [row for row in rows() if _line(row, form, currency)]
    return Problem(f"{sent[int(place[1])].title}: {tell(problem.message)}", problem.pointer)


def filled(lines: Sequence[BilledLine]) -> dict[str, str]:
    """The fields of a form that says the lines of an estimate again, as they were agreed; tax is not said."""
    form: dict[str, str] = {}
    parts = 0
    for line in lines:
        if line.kind == "part":
            parts += 1
            form |= {f"part{parts}": line.number or "", f"part{parts}_count": str(line.quantity or 1)}
        elif line.kind in TIMED:
            form[f"{line.kind}_hours"] = "" if line.hours is None else f"{line.hours.normalize():f}"
        elif line.kind != "tax":
            form[line.kind] = "1"
    return form


def rows_shown(form: Mapping[str, str], more: int = 1) -> tuple[Row, ...]:
    """The rows of the form with those for parts that are filled in, and `more` to fill in."""
    used = [number for number in range(1, MOST_PARTS + 1) if form.get(f"part{number}")]
    return rows(min(MOST_PARTS, max(used, default=0) + more))


def _line(row: Row, form: Mapping[str, str], currency: str) -> dict[str, Any] | None:
    def text(part: str = "") -> str:
        return form.get(f"{row.name}{part}", "").strip()

    line: dict[str, Any] = {"kind": row.kind}
    if row.hours:
        line["hours"] = typed_number(text("_hours"))
    if row.part:
        line |= {"number": text(), "serials": text("_serials").replace(",", " ").split()}
        line |= {"quantity": typed_number(text("_count"))} if text("_count") else {}
    amount = text("_amount")
    there = text("_hours") if row.hours else text() if row.part else (not row.given and text()) or amount
    if not there:
        return None
    return line | ({"amount": typed_amount(amount, currency)} if amount else {})
