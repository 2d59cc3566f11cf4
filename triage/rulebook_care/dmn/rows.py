"""Conditions as rows of a decision table: which combinations of single tests make a condition true.

A row's tests all hold or the row does not count, so each alternative of the normal form is a row. Of an
unknown fact only that it is unknown can be true.

Values and unary tests as FEEL texts that any tool reads: OMG DMN 1.5, clauses 9, 10.3 (from memory).

Other than in `unary_text`, dates are written date("…"), which S-FEEL of every version has.
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
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
    Scalar,
    UnaryTest,
    values_in,
)
from triage.logic.normal_form import Leaf, alternatives
from triage.logic.unary_text import NOT_XML, scalar_text, text_of_test


def feel_value(value: Scalar) -> str:
    """`15`, `"text"`, `true`, `date("2026-01-01")`, `time("10:30:00")`."""
    match value:
        case datetime():
            raise ValueError("no fact is a date and time")
        case date():
            return f'date("{value.isoformat()}")'
        case time():
            return f'time("{value.isoformat()}")'
        case _:
            return scalar_text(value)


def feel_values(values: Iterable[Scalar]) -> str:
    return ",".join(map(feel_value, values))


def feel_test(test: UnaryTest) -> str:
    """The text of a unary test; `unary_tests.parse` reads it back."""
    return text_of_test(test, feel_value)


def xml_text(text: str) -> str:
    """The text with every sign that XML 1.0 cannot hold replaced by the replacement character."""
    return NOT_XML.sub("\ufffd", text)


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


_NAME = r"[a-z][a-z0-9_-]*"
_TEXTS = r'"(?:\\.|[^"\\])*"(?:\s*,\s*"(?:\\.|[^"\\])*")*'
_VALUE = re.compile(_NAME)
_KNOWN = re.compile(rf"({_NAME})\s*(!=|=)\s*null")
_MEMBER = re.compile(
    rf"some\s+(?P<one>\w+)\s+in\s+(?P<fact>{_NAME})\s+satisfies\s+(?P=one)\s*"
    rf"(?:\bin\s*\(\s*(?P<several>{_TEXTS})\s*\)|=\s*(?P<single>{_TEXTS}))"
)
_CONTAINS = re.compile(rf"list\s+contains\s*\(\s*(?P<fact>{_NAME})\s*,\s*(?P<texts>{_TEXTS})\s*\)")


def columns_of(rows: Sequence[Row], facts: Sequence[str] = ()) -> tuple[Column, ...]:
    """The columns that hold all rows; a second test in one column takes a further, like column.

    `facts` each have a column of their own, in this order and before all others, tested or not.
    """
    most: Counter[Column] = Counter()
    for row in rows:
        most |= Counter(cell.column for cell in row)
    for fact in facts:
        if not any(column.fact == fact and column.kind != "known" for column in most):
            most[Column(fact)] = 1
    place = {fact: index for index, fact in enumerate(facts)}
    ordered = sorted(most, key=lambda column: (place.get(column.fact, len(place)), *column.place))
    return tuple(column for column in ordered for _ in range(most[column]))


def texts_of(row: Row, columns: Sequence[Column]) -> tuple[str, ...]:
    """The row's text in each column, "-" where it has no test."""
    left = list(row)
    texts = []
    for column in columns:
        cell = next((cell for cell in left if cell.column == column), None)
        if cell is not None:
            left.remove(cell)
        texts.append("-" if cell is None else cell.text)
    return tuple(texts)


def expression_of(column: Column) -> str:
    """`fact`, `fact != null`, or `some s in fact satisfies s in ("a","b")`."""
    match column.kind:
        case "known":
            return f"{column.fact} != null"
        case "member":
            return f"some s in {column.fact} satisfies s in ({feel_values(column.members)})"
        case "value":
            return column.fact


def read_column(text: str) -> tuple[Column, bool] | None:
    """The column of an input expression, and whether its true and false are swapped (`fact = null`).

    None where it is no expression of the subset.
    """
    text = text.strip()
    if (found := _KNOWN.fullmatch(text)) is not None:
        return Column(found[1], "known"), found[2] == "="
    found = _MEMBER.fullmatch(text) or _CONTAINS.fullmatch(text)
    if found is not None and found["fact"] in MANY_VALUED:
        parts = found.groupdict()
        texts = parts.get("several") or parts.get("single") or parts.get("texts") or ""
        members = re.findall(r'"((?:\\.|[^"\\])*)"', texts)
        if not all(re.fullmatch(_NAME, member) for member in members):
            return None
        return Column(found["fact"], "member", tuple(sorted(set(members)))), False
    if _VALUE.fullmatch(text) and text not in ("true", "false", "null"):
        return Column(text), False
    return None
