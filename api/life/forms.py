"""What is typed on the pages of a ticket's later life, as the data that the service reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.pages.texts import gettext
from api.pages.typed import typed_amount, typed_number
from triage.values.errors import InputError, Problem, path_to
from triage.values.time_zones import zone_named

PARTS = 4
"""Rows for parts on a form."""


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the form: a line's kind, its title, and which fields it has besides the amount."""

    name: str
    kind: str
    title: str
    hours: bool = False
    part: bool = False
    given: bool = False  # by an amount alone; else it has to be ticked, filled or chosen


def rows() -> tuple[Row, ...]:
    """The lines that can be entered, in the order of a bill."""
    return (
        Row("trip", "trip", gettext("Trip")),
        Row("distance", "distance", gettext("Distance")),
        Row("labor", "labor", gettext("Labor"), hours=True),
        Row("second", "second_technician", gettext("Second technician"), hours=True),
        *(
            Row(f"part{number}", "part", gettext("Part %(number)s", number=number), part=True)
            for number in range(1, PARTS + 1)
        ),
        Row("freight", "freight", gettext("Freight")),
        Row("tax", "tax", gettext("Tax"), given=True),
    )


@dataclass(frozen=True, slots=True)
class Form:
    """The fields of a form; times are those of the store's clock."""

    fields: Mapping[str, str]
    several: Mapping[str, list[str]]
    zone: str
    currency: str

    def text(self, name: str) -> str:
        return self.fields.get(name, "").strip()

    def chosen(self, **names: str) -> dict[str, str]:
        """Data of the fields that are filled: key of the data -> name of the field."""
        return {key: self.text(name) for key, name in names.items() if self.text(name)}

    def moment(self, name: str) -> dict[str, str]:
        """`{"at": …}` of a field for day and time; nothing where it is empty."""
        text = self.text(name)
        if not text:
            return {}
        try:
            at = datetime.fromisoformat(text)
        except ValueError:
            message = gettext("Write day and time as 2026-11-16 14:30.")
            raise InputError([Problem(message, f"/{name}")]) from None
        return {"at": (at if at.tzinfo else at.replace(tzinfo=zone_named(self.zone))).isoformat()}

    def number(self, name: str) -> Any:
        """A number where it is one; else the text, which the service refuses with its reason."""
        return typed_number(self.text(name))

    def amount(self, name: str) -> str:
        return typed_amount(self.text(name), self.currency)

    def lines(self) -> list[dict[str, Any]]:
        """The lines of an estimate or a closing."""
        return [line for row in rows() if (line := self._line(row))]

    def _line(self, row: Row) -> dict[str, Any] | None:
        amount = {"amount": self.amount(f"{row.name}_amount")} if self.text(f"{row.name}_amount") else {}
        if row.hours:
            hours = self.text(f"{row.name}_hours")
            return {"kind": row.kind, "hours": self.number(f"{row.name}_hours"), **amount} if hours else None
        if row.part:
            if not self.text(row.name):
                return None
            serials = self.text(f"{row.name}_serials").replace(",", " ").split()
            count = {"quantity": self.number(f"{row.name}_count")} if self.text(f"{row.name}_count") else {}
            return {"kind": "part", "number": self.text(row.name), **count, "serials": serials, **amount}
        ticked = bool(amount) if row.given else bool(self.text(row.name)) or bool(amount)
        return {"kind": row.kind, **amount} if ticked else None

    def placed(self, problem: Problem) -> Problem:
        """A problem with the row of the form that it is about, instead of a place in the data."""
        place = path_to(problem.pointer or "")
        if len(place) < 2 or place[0] != "lines" or not place[1].isdigit():
            return problem
        sent = [row for row in rows() if self._line(row)]
        return Problem(f"{sent[int(place[1])].title}: {problem.message}", problem.pointer)
