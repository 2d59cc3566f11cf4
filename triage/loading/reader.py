"""Reads one record, a row of a file, cell by cell; every problem is kept with its row and column."""

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any, TypeAlias, TypeVar

from triage.loading.columns import COLUMNS, key_of
from triage.loading.rows import Row
from triage.logic.conditions import Scalar
from triage.rulebook.fact_values import read_value
from triage.rulebook.model import Fact, Rulebook
from triage.values.errors import InputError, Problem
from triage.values.plain_data import exact_number
from triage.values.shown import hint
from triage.values.time_zones import day_of, moment_of

T = TypeVar("T")


Cells: TypeAlias = Mapping[str, Callable[["Reader", Row], object]]
"""How each column is read."""

_US_DAY = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})", re.ASCII)
FLAGS = {"true": True, "yes": True, "false": False, "no": False}


class Reader:
    """Reads the cells of files; a cell that is wrong gives None and a problem, and its row is rejected.

    `latest` is the last day that can be meant.
    """

    def __init__(
        self, rulebook: Rulebook, facts: Mapping[str, Fact], problems: list[Problem], latest: date
    ) -> None:
        self.rulebook = rulebook
        self.facts = facts
        self.problems = problems
        self.latest = latest
        self.rejected: set[tuple[str, int]] = set()
        self._missing: set[tuple[str, str]] = set()

    def check_columns(self, kind: str, rows: Sequence[Row]) -> None:
        """Columns that are there and mean nothing."""
        names = [name.rstrip("*") for name in COLUMNS[kind]]
        openings = tuple(name for name in names if name.endswith("."))
        seen: set[str] = set()
        for row in rows:
            for column in row.cells:
                if column in names or (openings and column.startswith(openings)):
                    continue
                self.rejected.add((row.file, row.line))
                if column not in seen:
                    seen.add(column)
                    known = ", ".join(f"{name}<…>" if name.endswith(".") else name for name in names)
                    self.add(row, column, f"no such column{hint(column, names)}; columns are {known}")

    def add(self, row: Row, column: str, message: str) -> None:
        self.rejected.add((row.file, row.line))
        self.problems.append(row.problem(column, message))

    def is_wrong(self, row: Row) -> bool:
        return (row.file, row.line) in self.rejected

    def given(self, kind: str, row: Row, reads: Cells, is_new: bool = True) -> dict[str, Any]:
        """What the row says, by column. A column that it has not is left out; a new record needs some."""
        for name in COLUMNS[kind]:
            column = name.rstrip("*")
            if is_new and name != column and column not in row.cells:
                self.rejected.add((row.file, row.line))
                if (row.file, column) not in self._missing:
                    self._missing.add((row.file, column))
                    self.add(row, column, "this column is missing, and a new record needs it")
        return {column: read(self, row) for column, read in reads.items() if column in row.cells}

    def each_once(
        self, kind: str, rows: Iterable[Row], on_record: Collection[str] = ()
    ) -> Iterator[tuple[Row, str]]:
        """The rows with what they are known by; one that differs from another in case only is a problem."""
        self.check_columns(kind, [*rows])
        column, stored = key_of(kind), {one.casefold(): one for one in on_record}
        first: dict[str, Row] = {}
        for row in rows:
            key = self.required(row, column) or ""
            before = first.setdefault(key.casefold(), row) if key else row
            as_stored = key if key in on_record else stored.get(key.casefold(), key)
            if column not in row.cells:
                self.add(row, column, "this column is missing")
            elif before is not row:
                also = before.cells[column].text
                spelled = "" if also == key else f' as "{also}"'
                self.add(row, column, f'"{key[:60]}" is already on line {before.line}{spelled}; keep one')
            elif as_stored != key:
                self.add(row, column, f'this is "{as_stored}" on record; write it so')
            yield row, key

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
        """A day, 2026-03-31 or as it is written in the United States, 3/31/2026."""
        found = self.parsed(row, column, _day, "a date such as 2026-03-31 or 3/31/2026")
        if found is not None and found > self.latest:
            self.add(row, column, f"{found} is too far in the future to be meant; fix the year")
        return found

    def instant(self, row: Row, column: str) -> datetime | None:
        return self.parsed(row, column, moment_of, "a time with its offset such as 2026-03-31T14:05:00-04:00")

    def facts_of(self, row: Row, known: Mapping[str, Scalar]) -> dict[str, Scalar]:
        """The facts of the row's columns, and those known before of which it has no column."""
        found = dict(known)
        for column, cell in row.cells.items():
            fact_id = column.removeprefix("fact.")
            if fact_id == column:
                continue
            if not cell.text:
                found.pop(fact_id, None)
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


def _day(text: str) -> date:
    if (there := _US_DAY.fullmatch(text)) is not None:
        month, day, year = map(int, there.groups())
        text = f"{year}-{month:02}-{day:02}"
    return day_of(text)


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
