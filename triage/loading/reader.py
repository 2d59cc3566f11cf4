"""Reads one record, a row of a file, cell by cell; every problem is kept with its row and column."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date, datetime
from typing import TypeVar

from triage.loading.rows import Row
from triage.logic.conditions import Scalar
from triage.rulebook.fact_values import read_value
from triage.rulebook.model import Fact, Rulebook
from triage.values.errors import InputError, Problem
from triage.values.plain_data import exact_number
from triage.values.shown import hint
from triage.values.time_zones import day_of, moment_of

T = TypeVar("T")


FLAGS = {"true": True, "yes": True, "false": False, "no": False}


class Reader:
    """Reads the cells of one file; a cell that is wrong gives None and a problem."""

    def __init__(self, rulebook: Rulebook, facts: Mapping[str, Fact], problems: list[Problem]) -> None:
        self.rulebook = rulebook
        self.facts = facts
        self.problems = problems

    def check_columns(self, kind: str, rows: Sequence[Row]) -> None:
        """Columns that must be there and are not, or are there and mean nothing."""
        names = [name.rstrip("*") for name in COLUMNS[kind]]
        openings = tuple(name for name in names if name.endswith("."))
        seen: set[str] = set()
        for row in rows:
            for column in row.cells:
                if (
                    column not in names
                    and not (openings and column.startswith(openings))
                    and column not in seen
                ):
                    seen.add(column)
                    known = ", ".join(f"{name}<…>" if name.endswith(".") else name for name in names)
                    self.add(row, column, f"no such column{hint(column, names)}; columns are {known}")
            for name in COLUMNS[kind]:
                if name.endswith("*") and name[:-1] not in row.cells and name not in seen:
                    seen.add(name)
                    self.add(row, name[:-1], "this column is missing")

    def add(self, row: Row, column: str, message: str) -> None:
        self.problems.append(row.problem(column, message))

    def text(self, row: Row, column: str, longest: int = 200) -> str:
        """The cell's text, empty where there is none."""
        cell = row.cells.get(column)
        if cell is not None and len(cell.text) > longest:
            self.add(row, column, f"the text has {len(cell.text):,} characters; at most {longest} are read")
        return "" if cell is None else cell.text

    def required(self, row: Row, column: str, longest: int = 64) -> str | None:
        text = self.text(row, column, longest)
        if not text and column in row.cells:
            self.add(row, column, "this must be filled in")
        return text or None

    def one_of(self, row: Row, column: str, known: Collection[str], what: str) -> str | None:
        """A cell that names one of `known`; None where it is empty."""
        text = self.text(row, column, 64)
        if text and text not in known:
            self.add(row, column, f'no {what} "{text[:60]}"{hint(text, known, f"; add the {what} first")}')
            return None
        return text or None

    def parsed(self, row: Row, column: str, parse: Callable[[str], T], wanted: str) -> T | None:
        """The cell read by `parse` (which raises ValueError); None where it is empty."""
        text = self.text(row, column)
        if not text:
            return None
        try:
            return parse(text)
        except (ValueError, InputError):
            self.add(row, column, f'"{text[:60]}" is not {wanted}')
            return None

    def day(self, row: Row, column: str) -> date | None:
        return self.parsed(row, column, day_of, "a date such as 2026-03-31")

    def instant(self, row: Row, column: str) -> datetime | None:
        return self.parsed(row, column, moment_of, "a time with its offset such as 2026-03-31T14:05:00-04:00")

    def facts_of(self, row: Row) -> dict[str, Scalar]:
        found: dict[str, Scalar] = {}
        for column, cell in row.cells.items():
            fact_id = column.removeprefix("fact.")
            if fact_id == column or not cell.text:
                continue
            fact = self.facts.get(fact_id)
            if fact is None:
                self.add(row, column, f'no fact "{fact_id[:60]}" in the rulebook{hint(fact_id, self.facts)}')
                continue
            try:
                found[fact_id] = read_value(fact, _raw(fact, cell.text), "")
            except InputError as error:
                for problem in error.problems:
                    self.add(row, column, problem.message)
        return found


def _flag(text: str) -> bool:
    if text.lower() not in FLAGS:
        raise ValueError(text)
    return FLAGS[text.lower()]


def whole(low: int, high: int) -> Callable[[str], int]:
    """A parse of whole numbers in this span."""

    def parse(text: str) -> int:
        number = exact_number(text)
        if not low <= number <= high or number != int(number):
            raise ValueError(text)
        return int(number)

    return parse


def _raw(fact: Fact, text: str) -> object:
    """A cell's text as JSON would have it, so that one reader of values serves both."""
    if fact.type == "number":
        try:
            return exact_number(text)
        except ValueError:
            return text
    return FLAGS.get(text.lower(), text) if fact.type == "flag" else text


COLUMNS: Mapping[str, tuple[str, ...]] = {
    "sites": (
        "id*",
        "name*",
        "town*",
        "timezone*",
        "phone",
        "distance_km",
        "open_around_the_clock",
        "access_from",
        "access_until",
    ),
    "contractors": ("id*", "name*", "phone", "serves", "skills", "certificate", "visits_a_day"),
    "machines": (
        "serial*",
        "model*",
        "shipped_on*",
        "commissioned_on",
        "site",
        "contractor",
        "asset_tag",
        "price",
        "fact.",
    ),
    "care": ("serial*", "kind*", "at*", "by*", "details."),
    "repairs": ("serial*", "at*", "ticket*", "cause", "cost*"),
    "depot": (
        "serial*",
        "model*",
        "volts*",
        "amps*",
        "seal_style*",
        "ready_since*",
        "depot*",
        "shipped_on*",
        "commissioned_on",
        "price",
    ),
}
"""File -> its columns. `*`: must be filled in. A name that ends in a point: any column that starts so."""
