"""Limit tables and policy as decisions in DMN.

A limit table stays what it is. All live policy rules together are one decision with hit policy PRIORITY:
rules compete by priority, then by the safer outcome, then by id, and these are its outputs in this order.
What else a file says goes along, word for word, as an extension.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal

from triage.decide.outcome import SAFE_ORDER
from triage.decide.spending.limits import AMOUNT, AMOUNT_12_MONTHS
from triage.logic.conditions import MANY_VALUED, Scalar
from triage.rulebook.built_in_facts import is_money
from triage.rulebook.model import Fact, PolicyRule, Rulebook
from triage.rulebook.reading.conditions import built_in_facts
from triage.rulebook.terms import LimitTable
from triage.rulebook_care.dmn.rows import (
    Column,
    Row,
    TooManyRows,
    columns_of,
    expression_of,
    feel_value,
    feel_values,
    row_of,
    rows_of,
    texts_of,
    xml_text,
)
from triage.rulebook_care.dmn.table import POLICY, POLICY_OUTPUTS, Input, ItemType, Model, Output, Rule, Table
from triage.values.errors import NotFoundError, Problem, RulebookError
from triage.values.plain_data import canonical, plain

POLICY_NOTES = ("title", "text", "visit_priority", "why", "source", "known_misfires", "owner")
"""The annotation columns of the policy table; each is a word of the rule's file."""

THEN_NOTES = frozenset({"text", "visit_priority"})
_AMOUNTS = frozenset({AMOUNT, AMOUNT_12_MONTHS})
_BASE = {"number": "number", "flag": "boolean", "date": "date", "time": "time", "text": "string"}


def vocabulary(rulebook: Rulebook) -> Mapping[str, Fact]:
    """Every fact a table may look at, built-in ones with their choices."""
    components = {cause.component for cause in rulebook.causes.values()}
    return {**rulebook.facts, **built_in_facts(rulebook.symptoms, rulebook.causes, components)}


def amount_type(currency: str) -> str:
    return f"amount_{currency}"


def export_model(rulebook: Rulebook, files: Mapping[str, object], only: Collection[str] = ()) -> Model:
    """The tables of a rulebook; `files` are the files it was read from. `only` names limit tables, or policy.

    Raises NotFoundError for a table that is not there, RulebookError for one that DMN cannot hold.
    """
    names = [*sorted(rulebook.limits), *([POLICY] if rulebook.policy else [])]
    for name in only:
        if name not in names:
            raise NotFoundError(f'there is no table "{name[:64]}"; tables are {", ".join(names) or "none"}')
    facts = vocabulary(rulebook)
    writer = _Writer(rulebook, facts, {path: plain(data) for path, data in files.items()})
    tables = [writer.table(name) for name in names if not only or name in only]
    if writer.problems:
        raise RulebookError(writer.problems)
    return Model(
        title=rulebook.title,
        types=tuple(writer.types[name] for name in sorted(writer.types)),
        data={fact: writer.data[fact] for fact in sorted(writer.data)},
        needs=writer.needs,
        tables=tuple(tables),
        version=rulebook.version,
    )


class _Writer:
    def __init__(self, rulebook: Rulebook, facts: Mapping[str, Fact], files: Mapping[str, object]) -> None:
        self.rulebook, self.facts, self.files = rulebook, facts, files
        self.problems: list[Problem] = []
        self.types: dict[str, ItemType] = {}
        self.data: dict[str, str] = {}
        self.needs: dict[str, tuple[str, ...]] = {}

    def table(self, name: str) -> Table:
        return self.limit(self.rulebook.limits[name]) if name in self.rulebook.limits else self.policy()

    def limit(self, table: LimitTable) -> Table:
        path, decision = f"limits/{table.id}.yml", f"limits.{table.id}"
        if table.hit_policy == "COLLECT" and len(table.outputs) > 1:
            message = "in DMN a COLLECT table has one output; make two tables of it, or leave it out"
            self.problems.append(Problem(message, file=path))
        rows = [row_of(row.when.items()) for row in table.rows]
        columns = columns_of(rows, table.inputs)
        rules = tuple(
            Rule(
                f"{decision}.row.{number}",
                texts_of(row, columns),
                tuple(feel_value(given.then[output]) for output in table.outputs),
            )
            for number, (row, given) in enumerate(zip(rows, table.rows, strict=True), 1)
        )
        outputs = [
            Output(
                name,
                self.output_type(name, [row.then[name] for row in table.rows]),
                feel_values(table.output_order) if index == 0 and table.output_order else None,
            )
            for index, name in enumerate(table.outputs)
        ]
        return Table(
            id=decision,
            name=table.id,
            label=table.title,
            description=table.source,
            hit_policy=table.hit_policy,
            aggregation=table.collect,
            inputs=self.inputs(decision, columns),
            outputs=self.whole(table.id, outputs),
            notes=(),
            rules=rules,
            files={path: canonical(self.files[path])},
        )

    def policy(self) -> Table:
        ranked = sorted(
            self.rulebook.policy.values(),
            key=lambda rule: (-rule.priority, SAFE_ORDER.index(rule.outcome), rule.head.id),
        )
        found = [(rule, row) for rule in ranked for row in self.policy_rows(rule)]
        columns = columns_of([row for _, row in found])
        rules = []
        numbers: dict[str, int] = {}
        for rule, row in found:
            number = numbers[rule.head.id] = numbers.get(rule.head.id, 0) + 1
            values = (Decimal(rule.priority), rule.outcome, rule.head.id)
            rules.append(
                Rule(
                    f"{POLICY}.{rule.head.id}.{number}",
                    texts_of(row, columns),
                    tuple(map(feel_value, values)),
                    policy_notes(self.files[rule.head.file]),
                )
            )
        priorities = sorted({rule.priority for rule, _ in found}, reverse=True)
        self.types["outcome"] = ItemType("outcome", "string", feel_values(SAFE_ORDER))
        outputs = [
            Output("priority", "number", feel_values(map(Decimal, priorities))),
            Output("outcome", "outcome", feel_values(SAFE_ORDER)),
            Output("rule", "string", feel_values(sorted(numbers))),
        ]
        assert tuple(output.name for output in outputs) == POLICY_OUTPUTS
        return Table(
            id=POLICY,
            name=POLICY,
            label="Policy",
            description=(
                "Of all rules that hold, the highest priority decides, then the safer outcome. The guards of "
                "the program come before it: they take out what must not be, whatever a rule says."
            ),
            hit_policy="PRIORITY",
            aggregation=None,
            inputs=self.inputs(POLICY, columns),
            outputs=self.whole(POLICY, outputs),
            notes=POLICY_NOTES,
            rules=tuple(rules),
            files={
                path: canonical(self.files[path])
                for path in sorted(rule.head.file for rule in self.rulebook.policy.values())
            },
        )

    def policy_rows(self, rule: PolicyRule) -> tuple[Row, ...]:
        if rule.head.status != "live":
            return ()
        try:
            return rows_of(rule.head.when)
        except TooManyRows as error:
            self.problems.append(Problem(f"when: {error}", file=rule.head.file))
            return ()

    def inputs(self, decision: str, columns: Sequence[Column]) -> tuple[Input, ...]:
        for column in columns:
            self.data[column.fact] = self.fact_type(column.fact)
        self.needs[decision] = tuple(dict.fromkeys(column.fact for column in columns))
        return tuple(self.input(column) for column in columns)

    def input(self, column: Column) -> Input:
        fact, expression = self.facts[column.fact], expression_of(column)
        if column.kind == "known":
            return Input(expression, "boolean", "true,false")
        if column.kind == "member":
            return Input(expression, "boolean", "true,false,null")
        values = "true,false,null" if fact.type == "flag" else None
        if fact.type == "choice" and fact.choices:
            values = f"{feel_values(fact.choices)},null"
        return Input(expression, self.fact_type(fact.id), values)

    def fact_type(self, name: str) -> str:
        fact = self.facts[name]
        if is_money(self.rulebook, name):
            return self.amount()
        if fact.type != "choice":
            return _BASE[fact.type]
        choice = f"choice_{name}"
        self.types[choice] = ItemType(choice, "string", feel_values(fact.choices) or None)
        if name not in MANY_VALUED:
            return choice
        several = f"list_of_{name}"
        self.types[several] = ItemType(several, choice, is_list=True)
        return several

    def amount(self) -> str:
        name = amount_type(self.rulebook.currency)
        self.types[name] = ItemType(name, "number")
        return name

    def output_type(self, name: str, values: Iterable[Scalar]) -> str:
        kinds = {type(value) for value in values}
        if kinds == {Decimal}:
            return self.amount() if name in _AMOUNTS else "number"
        names = {bool: "boolean", str: "string", date: "date"}
        return names.get(kinds.pop(), "Any") if len(kinds) == 1 else "Any"

    def whole(self, table: str, outputs: Sequence[Output]) -> tuple[Output, ...]:
        if len(outputs) > 1:
            parts = tuple((output.name, output.type_ref) for output in outputs)
            self.types[f"result_{table}"] = ItemType(f"result_{table}", parts=parts)
        return tuple(outputs)


def policy_notes(data: object) -> Mapping[str, str]:
    """The annotations of a policy file's plain data, as its rows carry them."""
    assert isinstance(data, dict)
    then = data.get("then", {})
    found = {name: then.get(name) if name in THEN_NOTES else data.get(name) for name in POLICY_NOTES}
    return {name: xml_text(str(value)) for name, value in found.items() if value is not None}
