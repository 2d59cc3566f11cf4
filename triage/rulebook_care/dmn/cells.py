"""A table's rows read back: columns as tests of facts, outputs as values, and the `when` that rows make."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TypeAlias

from triage.logic.conditions import MANY_VALUED, Anything, Compare, Not, Scalar, UnaryTest
from triage.logic.unary_tests import FactType, UnaryTestError, parse
from triage.rulebook.model import Fact
from triage.rulebook_care.dmn.rows import NO, YES, Cell, Column, Row, feel_test, feel_values, read_column
from triage.rulebook_care.dmn.table import Output, Rule, Table
from triage.values.errors import Problem
from triage.values.shown import hint

Raw: TypeAlias = dict[str, object]
_TRUTHS = {True: YES, False: NO}


@dataclass(frozen=True, slots=True)
class ReadRow:
    """One row: its cells, guards included, the raw unary test of each value cell, and its outputs by name."""

    rule: Rule
    cells: Row
    tests: Mapping[Cell, object]
    values: Mapping[str, Scalar]

    @property
    def key(self) -> frozenset[Cell]:
        return frozenset(self.cells)


class CellReader:
    """Reads the rows of tables; collects a problem, with its line, for each cell that cannot be read."""

    def __init__(self, facts: Mapping[str, Fact], file: str) -> None:
        self.facts, self.file = facts, file
        self.problems: list[Problem] = []

    def rows(self, table: Table) -> tuple[ReadRow, ...]:
        columns = [self.column(one.expression, one.line) for one in table.inputs]
        names = [output.name for output in table.outputs]
        for output in table.outputs:
            if not output.name or names.count(output.name) > 1:
                self.problem(output.line, "each output has a name of its own, such as amount; name it")
        rows = tuple(self.row(rule, columns, table.outputs) for rule in table.rules)
        return () if None in columns else rows  # half a row would only give faults that are none

    def column_of(self, expression: str) -> tuple[Column, bool] | None:
        """The column without a word about what is wrong with it."""
        return read_column(expression)

    def column(self, expression: str, line: int) -> tuple[Column, bool] | None:
        read = read_column(expression)
        if read is None:
            message = (
                f'the input expression "{expression[:80]}" is not read; write a fact, `fact != null`, or '
                "`some s in symptom satisfies s in (…)`"
            )
            self.problem(line, message)
        elif read[0].fact not in self.facts:
            name = read[0].fact
            fix = hint(name, self.facts, f"; facts/{name[:64]}.yml would define it")
            self.problem(line, f'there is no fact "{name[:64]}"{fix}')
            return None
        return read

    def row(
        self, rule: Rule, columns: Sequence[tuple[Column, bool] | None], outputs: Sequence[Output]
    ) -> ReadRow:
        tests: dict[Cell, object] = {}
        for index, (column, text) in enumerate(zip(columns, rule.tests, strict=True)):
            if column is None:
                continue
            found = self.test(column[0], text, rule.lines[index])
            if found is None or isinstance(found, Anything):
                continue
            if column[0].kind == "value" and column[0].fact in MANY_VALUED:
                name = column[0].fact
                message = f"{name} is a list; make the input `some s in {name} satisfies s in (…)`"
                self.problem(rule.lines[index], message)
            elif column[0].kind == "value":
                tests[Cell(column[0], feel_test(found))] = _raw(found)
            else:
                truth = _truth(found)
                if truth is None:
                    self.problem(rule.lines[index], "true, false or - is wanted here")
                else:
                    tests[Cell(column[0], _TRUTHS[truth is not column[1]])] = None
        values = {}
        for index, (output, text) in enumerate(zip(outputs, rule.values, strict=True), len(rule.tests)):
            value = self.value(output.name, text, rule.lines[index])
            if value is not None:
                values[output.name] = value
        return ReadRow(rule, tuple(tests), tests, values)

    def test(self, column: Column, text: str, line: int) -> UnaryTest | None:
        fact = self.facts[column.fact]
        try:
            if column.kind != "value":
                return parse(text, "flag")
            return parse(text, fact.type, fact.choices)
        except UnaryTestError as error:
            self.problem(line, f"{column.fact}: {error.message} (character {error.column} of the cell)")
            return None

    def value(self, name: str, text: str, line: int) -> Scalar | None:
        """One output value: a number, a text in quotes, true or false, or a date."""
        values = self.values(text, line, name)
        if values is None:
            return None
        if len(values) != 1:
            self.problem(line, f'{name}: one value is wanted here, such as 350 or "a"')
            return None
        return values[0]

    def values(self, text: str, line: int, name: str) -> tuple[Scalar, ...] | None:
        if not text.strip():
            self.problem(line, f'{name}: the cell is empty; write a value such as 350 or "a"')
            return None
        try:
            test = parse(text, _type_of(text))
        except UnaryTestError as error:
            self.problem(line, f"{name}: {error.message} (character {error.column} of the cell)")
            return None
        parts = getattr(test, "tests", (test,)) if not isinstance(test, Not) else (test,)
        found = tuple(part.value for part in parts if isinstance(part, Compare) and part.operator == "=")
        if len(found) != len(parts):
            self.problem(line, f'{name}: a value is wanted here, such as 350 or "a", not a test')
            return None
        return found

    def problem(self, line: int, message: str) -> None:
        self.problems.append(Problem(message, file=self.file, line=line or None))


def when_of(rows: Sequence[ReadRow]) -> Raw:
    """The `when` mapping that is true exactly when one of the rows holds; shared tests stand at the top."""
    shared = [cell for cell in rows[0].cells if all(cell in row.key for row in rows)]
    tests = {cell: raw for row in rows for cell, raw in row.tests.items()}
    if len(rows) == 1:
        return _mapping(rows[0].cells, tests)
    rest = [[cell for cell in row.cells if cell not in shared] for row in rows]
    if not all(rest):
        return _mapping(shared, tests)  # one row asks for nothing more: it covers the others
    # A guard stays beside the test that it guards, or it would read as a wish of its own.
    branches: list[object] = [_mapping(_with_guards(cells, shared), tests) for cells in rest]
    top = _mapping([cell for cell in shared if not _guards(cell, rest)], tests)
    return _also(top, branches)


def tests_of(row: ReadRow) -> Raw | str:
    """The row as a limit table's row has it, fact -> raw test; or why it cannot be one."""
    found: Raw = {}
    for cell in row.cells:
        if cell.column.kind == "known":
            continue
        if cell.column.fact in found:
            return f"{cell.column.fact} is tested twice in this row; make one test of it"
        found[cell.column.fact] = _raw_of(cell, row.tests)
    for cell in row.cells:
        if cell.column.kind == "known" and (cell.text == NO or cell.column.fact not in found):
            return f"a limit table cannot ask whether {cell.column.fact} is known; test its value, or write -"
    return found


def _mapping(cells: Iterable[Cell], tests: Mapping[Cell, object]) -> Raw:
    cells = list(cells)
    made: Raw = {}
    again: list[Raw] = []
    tested = {cell.column.fact for cell in cells if cell.column.kind != "known"}
    for cell in cells:
        fact = cell.column.fact
        if cell.column.kind == "known":
            continue
        if fact in made:
            again.append({fact: _raw_of(cell, tests)})
        else:
            made[fact] = _raw_of(cell, tests)
    for text, word in ((YES, "known"), (NO, "unknown")):
        named: list[object] = [
            cell.column.fact
            for cell in cells
            if cell.column.kind == "known"
            and cell.text == text
            and not (text == YES and cell.column.fact in tested)
        ]
        if named:
            made[word] = named
    for more in again:
        made = _also(made, [more])
    return made


def _also(made: Raw, branches: list[object]) -> Raw:
    """`made`, and one of the branches as well.

    A mapping has one `any_of`; a further one is written as none of those of which none holds.
    """
    if "any_of" not in made:
        return {**made, "any_of": branches}
    none = made.get("none_of", [])
    assert isinstance(none, list)
    return {**made, "none_of": [*none, {"none_of": branches}]}


def _with_guards(cells: list[Cell], shared: Sequence[Cell]) -> list[Cell]:
    facts = {cell.column.fact for cell in cells}
    return [*cells, *(cell for cell in shared if cell.column.kind == "known" and cell.column.fact in facts)]


def _guards(cell: Cell, rest: Sequence[Sequence[Cell]]) -> bool:
    """Whether a shared `known` only guards tests that every row makes anyway."""
    if cell.column.kind != "known" or cell.text == NO:
        return False
    return all(any(one.column.fact == cell.column.fact for one in cells) for cells in rest)


def _raw_of(cell: Cell, tests: Mapping[Cell, object]) -> object:
    if cell.column.kind == "member":
        members = feel_values(cell.column.members)
        return members if cell.text == YES else f"not({members})"
    return tests[cell]


def _raw(test: UnaryTest) -> object:
    """A unary test as a file has it: a number or flag by itself, anything else as text."""
    match test:
        case Compare("=", bool() | Decimal() as value):
            return value
        case _:
            return feel_test(test)


def _truth(test: UnaryTest) -> bool | None:
    match test:
        case Compare("=", bool() as value):
            return value
        case Not((Compare("=", bool() as value),)):
            return not value
        case _:
            return None


def _type_of(text: str) -> FactType:
    start = text.lstrip()[:5]
    if start.startswith('"'):
        return "text"
    if start.startswith(("true", "false")):
        return "flag"
    return "date" if start.startswith(("date(", "date ", "@")) else "number"


def raw_value(value: Scalar) -> object:
    """An output value as a file has it."""
    return value if isinstance(value, bool | Decimal | str | date) else str(value)
