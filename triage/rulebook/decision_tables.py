"""DMN decision tables: which rows hold, and the answer by the table's hit policy.

Hit policies after OMG DMN 1.5, section 8.2.8 (from memory): UNIQUE, one row at most; FIRST, the first row in
order; PRIORITY, the row whose output stands first in `output_order`; COLLECT, the sum, least or greatest of
the outputs. A table without a matching row answers nothing, which here is an error: silence about money must
not be read as a yes. An unknown input fails every test on it but "-".
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from triage.logic.conditions import Anything, Facts, FactValue, Scalar, UnaryTest, holds_for
from triage.rulebook.fact_values import write_value
from triage.rulebook.terms import LimitRow, LimitTable
from triage.values.errors import InputError, Problem


class TableError(InputError):
    """A decision table that gives no answer, or more than one, for some inputs."""


@dataclass(frozen=True, slots=True)
class TableAnswer:
    """The outputs, and the row they come from (for COLLECT the first that counts)."""

    outputs: Mapping[str, Scalar]
    row: LimitRow


def matching_rows(table: LimitTable, facts: Facts) -> tuple[LimitRow, ...]:
    """The rows whose every test holds, in the table's order."""
    return tuple(
        row for row in table.rows if all(_holds(test, facts.get(name)) for name, test in row.when.items())
    )


def _holds(test: UnaryTest, value: FactValue | None) -> bool:
    """Of an unknown value only `-` holds."""
    return isinstance(test, Anything) if value is None else holds_for(test, value)


def evaluate_table(table: LimitTable, facts: Facts) -> TableAnswer:
    """The table's answer by its hit policy. Raises TableError naming table, rows and inputs."""
    rows = matching_rows(table, facts)
    if not rows:
        raise TableError(
            [Problem(f"no row of the table holds for {_inputs(table, facts)}; add one", *_at(table))]
        )
    match table.hit_policy:
        case "UNIQUE":
            if len(rows) > 1:
                lines = " and ".join(_row_name(table, row) for row in rows)
                message = f"{lines} overlap for {_inputs(table, facts)}; in a UNIQUE table one row holds"
                raise TableError([Problem(message, *_at(table), rows[1].line or None)])
            return TableAnswer(rows[0].then, rows[0])
        case "FIRST":
            return TableAnswer(rows[0].then, rows[0])
        case "PRIORITY":
            best = min(rows, key=lambda row: _place(table, row))
            return TableAnswer(best.then, best)
        case "COLLECT":
            return TableAnswer({name: _collected(table, rows, name) for name in table.outputs}, rows[0])


def _collected(table: LimitTable, rows: Sequence[LimitRow], output: str) -> Scalar:
    numbers = [value for row in rows if isinstance(value := row.then.get(output), Decimal)]
    if not numbers:
        raise TableError([Problem(f'the output "{output}" is no number; COLLECT sums numbers', *_at(table))])
    match table.collect:
        case "MIN":
            return min(numbers)
        case "MAX":
            return max(numbers)
        case _:
            return sum(numbers, Decimal(0))


def _place(table: LimitTable, row: LimitRow) -> int:
    value = row.then.get(table.outputs[0])
    return table.output_order.index(value) if value in table.output_order else len(table.output_order)


def _inputs(table: LimitTable, facts: Facts) -> str:
    tested = (name for row in table.rows for name in row.when)
    shown = [
        f"{name} = {write_value(value)!r}" if (value := facts.get(name)) is not None else f"{name} unknown"
        for name in dict.fromkeys((*table.inputs, *tested))
    ]
    return ", ".join(shown) or "no inputs"


def _row_name(table: LimitTable, row: LimitRow) -> str:
    number = next(index for index, one in enumerate(table.rows, 1) if one is row)
    return f"row {number}" + (f" (line {row.line})" if row.line else "")


def _at(table: LimitTable) -> tuple[str, str]:
    return "/rows", f"limits/{table.id}.yml"
