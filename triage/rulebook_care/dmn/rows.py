"""Conditions as rows of a decision table: which combinations of single tests make a condition true.

A row's tests all hold or the row does not count, so each alternative of the normal form is a row. Of an
unknown fact only that it is unknown can be true.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from triage.logic.conditions import (
    MANY_VALUED,
    AllOf,
    Compare,
    Condition,
    FactTest,
    Known,
    Not,
    OneOf,
    UnaryTest,
)
from triage.logic.normal_form import Leaf, alternatives
from triage.logic.value_sets import values_in
from triage.rulebook_care.dmn.feel import feel_test

MOST_ROWS = 64
"""Rows of one rule; beyond it nobody would read the table."""

_CONTRARY: dict[str, Literal["<", "<=", ">", ">="]] = {"<": ">=", "<=": ">", ">": "<=", ">=": "<"}


class TooManyRows(ValueError):
    """A condition that would fill more than MOST_ROWS rows."""


@dataclass(frozen=True, slots=True)
class Column:
    """What an input looks at: a fact's value, whether it is known, or whether a many-valued one holds one of
    `members`. The last two are true or false."""

    fact: str
    kind: Literal["known", "value", "member"] = "value"
    members: tuple[str, ...] = ()

    @property
    def place(self) -> tuple[str, int, tuple[str, ...]]:
        return self.fact, ("known", "value", "member").index(self.kind), self.members


@dataclass(frozen=True, slots=True)
class Cell:
    """One test in one column, as its canonical text too: cells are alike when their texts are."""

    column: Column
    text: str


Row: TypeAlias = tuple[Cell, ...]

YES, NO = "true", "false"


def rows_of(condition: Condition) -> tuple[Row, ...]:
    """The rows on which the condition is true, none where it never is. Raises TooManyRows."""
    too_many = TooManyRows(
        f"it would fill more than {MOST_ROWS} rows; split it, or derive a fact from part of it"
    )
    rows = alternatives(condition, True, _of_leaf, lambda row, more: {**row, **more}, MOST_ROWS, too_many)
    return tuple(tuple(sorted(row, key=_order)) for row in rows)


def row_of(tests: Iterable[tuple[str, UnaryTest]]) -> Row:
    """The row of single tests that all hold, guards included."""
    return rows_of(AllOf(tuple(FactTest(fact, test) for fact, test in tests)))[0]


def _order(cell: Cell) -> tuple[object, ...]:
    return *cell.column.place, cell.text


def _of_leaf(leaf: Leaf, wanted: bool) -> list[Mapping[Cell, None]]:
    match leaf:
        case Known(fact):
            cells: Row = (Cell(Column(fact, "known"), YES if wanted else NO),)
        case FactTest(fact, test):
            cells = _cells(fact, test if wanted else _contrary(test))
    return [dict.fromkeys(cells)]


def _contrary(test: UnaryTest) -> UnaryTest:
    match test:
        case Compare("=", bool() as value):
            return Compare("=", not value)
        case Compare(operator, value) if operator != "=":
            return Compare(_CONTRARY[operator], value)
        case Not(tests):
            return tests[0] if len(tests) == 1 else OneOf(tests)
        case OneOf(tests):
            return Not(tests)
        case _:
            return Not((test,))


def _cells(fact: str, test: UnaryTest) -> Row:
    """A test and, where a tool could take it to hold of an unknown fact, the guard that it is known."""
    negative = isinstance(test, Not)
    guard = (Cell(Column(fact, "known"), YES),) if negative else ()
    if fact in MANY_VALUED:
        column = Column(fact, "member", tuple(sorted({str(value) for value in values_in(test)})))
        return *guard, Cell(column, NO if negative else YES)
    return *guard, Cell(Column(fact), feel_test(test))
