"""Evaluates a table as a FEEL tool does, row by row: null is no value, and `not(…)` of null is true."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache

from triage.logic.conditions import Anything, FactValue, Not, UnaryTest, holds
from triage.logic.unary_tests import FactType, parse
from triage.rulebook.model import Fact
from triage.rulebook_care.dmn.rows import read_column
from triage.rulebook_care.dmn.table import Rule, Table

Answer = dict[str, str]


def rows_that_hold(
    table: Table, vocabulary: Mapping[str, Fact], facts: Mapping[str, FactValue]
) -> list[Rule]:
    return [rule for rule in table.rules if _holds(table, rule, vocabulary, facts)]


def best_by_priority(table: Table, rules: list[Rule]) -> Answer | None:
    """The outputs, name -> text, of the rule that stands first by the order of each output's values."""
    if not rules:
        return None
    orders = [_order(output.values) for output in table.outputs]
    best = min(
        rules, key=lambda rule: [order.index(value) for order, value in zip(orders, rule.values, strict=True)]
    )
    return dict(zip((output.name for output in table.outputs), best.values, strict=True))


@cache
def parsed(text: str, fact_type: FactType) -> UnaryTest:
    return parse(text, fact_type)


def _order(values: str | None) -> list[str]:
    assert values is not None
    return values.split(",")


def _holds(table: Table, rule: Rule, vocabulary: Mapping[str, Fact], facts: Mapping[str, FactValue]) -> bool:
    for one, text in zip(table.inputs, rule.tests, strict=True):
        read = read_column(one.expression)
        assert read is not None, one.expression
        column, swapped = read
        assert not swapped
        value = facts.get(column.fact)
        if column.kind == "known":
            seen: object = value is not None
        elif column.kind == "member" and isinstance(value, frozenset):
            seen = bool(value & set(column.members))
        elif column.kind == "member":
            seen = False  # `some s in null` looks at one null in most tools
        else:
            seen = value
        fact = vocabulary[column.fact]
        test = parsed(text, fact.type if column.kind == "value" else "flag")
        if seen is None:
            if not isinstance(test, Anything | Not):
                return False
        else:
            assert isinstance(seen, bool | str | Decimal) or hasattr(seen, "isoformat"), seen
            if not holds(test, seen):  # type: ignore[arg-type]
                return False
    return True
