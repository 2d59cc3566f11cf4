"""Rows laid out in columns, and the columns as FEEL expressions and back."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from triage.logic.conditions import MANY_VALUED
from triage.rulebook_care.dmn.feel import feel_values
from triage.rulebook_care.dmn.rows import Column, Row

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
