"""Conditions as rows of a decision table: which combinations of single tests make a condition true.

A row's tests all hold or the row does not count, so a condition becomes its disjunctive normal form, one row
for each conjunction. In Kleene's logic a condition is true exactly when one of them is wholly true; of an
unknown fact only that it is unknown can be true.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from triage.logic.conditions import (
    AllOf,
    AnyOf,
    Anything,
    Compare,
    Condition,
    FactTest,
    Interval,
    Known,
    NoneOf,
    Not,
    OneOf,
    UnaryTest,
    Unknown,
)
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
_Rows: TypeAlias = list[tuple[Cell, ...]]

YES, NO = "true", "false"


def rows_of(condition: Condition, many: Collection[str]) -> tuple[Row, ...]:
    """The rows on which the condition is true, none where it never is. `many` are the many-valued facts.

    Raises TooManyRows.
    """
    return tuple(tuple(sorted(row, key=_order)) for row in _true(condition, many))


def row_of(tests: Iterable[tuple[str, UnaryTest]], many: Collection[str]) -> Row:
    """The row of single tests that all hold, guards included."""
    return rows_of(AllOf(tuple(FactTest(fact, test) for fact, test in tests)), many)[0]


def _order(cell: Cell) -> tuple[object, ...]:
    return *cell.column.place, cell.text


def _true(condition: Condition, many: Collection[str]) -> _Rows:
    match condition:
        case FactTest(_, Anything()):
            return [()]
        case FactTest(fact, test):
            return [_cells(fact, test, many)]
        case Known(fact):
            return [(Cell(Column(fact, "known"), YES),)]
        case Unknown(fact):
            return [(Cell(Column(fact, "known"), NO),)]
        case AllOf(parts):
            return _all(parts, many, _true)
        case AnyOf(parts):
            return _any(parts, many, _true)
        case NoneOf(parts):
            return _all(parts, many, _false)


def _false(condition: Condition, many: Collection[str]) -> _Rows:
    match condition:
        case FactTest(_, Anything()):
            return []
        case FactTest(fact, test):
            return [_cells(fact, _contrary(test), many)]
        case Known(fact):
            return _true(Unknown(fact), many)
        case Unknown(fact):
            return _true(Known(fact), many)
        case AllOf(parts):
            return _any(parts, many, _false)
        case AnyOf(parts):
            return _all(parts, many, _false)
        case NoneOf(parts):
            return _any(parts, many, _true)


def _all(
    parts: Sequence[Condition], many: Collection[str], of: Callable[[Condition, Collection[str]], _Rows]
) -> _Rows:
    rows: _Rows = [()]
    for part in parts:
        further = of(part, many)
        rows = _within(tuple(dict.fromkeys((*row, *more))) for row in rows for more in further)
    return rows


def _any(
    parts: Sequence[Condition], many: Collection[str], of: Callable[[Condition, Collection[str]], _Rows]
) -> _Rows:
    return _within(row for part in parts for row in of(part, many))


def _within(rows: Iterable[tuple[Cell, ...]]) -> _Rows:
    found: dict[frozenset[Cell], tuple[Cell, ...]] = {}
    for row in rows:
        found.setdefault(frozenset(row), row)
        if len(found) > MOST_ROWS:
            raise TooManyRows(
                f"it would fill more than {MOST_ROWS} rows; split it, or derive a fact from part of it"
            )
    return list(found.values())


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


def _cells(fact: str, test: UnaryTest, many: Collection[str]) -> tuple[Cell, ...]:
    """A test and, where a tool could take it to hold of an unknown fact, the guard that it is known."""
    negative = isinstance(test, Not)
    guard = (Cell(Column(fact, "known"), YES),) if negative else ()
    if fact in many:
        column = Column(fact, "member", _members(test))
        return *guard, Cell(column, NO if negative else YES)
    return *guard, Cell(Column(fact), feel_test(test))


def _members(test: UnaryTest) -> tuple[str, ...]:
    match test:
        case Compare(_, str() as value):
            return (value,)
        case OneOf(tests) | Not(tests):
            return tuple(sorted({member for part in tests for member in _members(part)}))
        case Compare() | Interval() | Anything():
            raise ValueError("a many-valued choice is tested for its members only")
