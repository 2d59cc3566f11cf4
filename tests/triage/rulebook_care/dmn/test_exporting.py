"""Limit tables and policy as DMN decisions: valid, the same bytes each time, and deciding as the rulebook."""

from __future__ import annotations

import random
from decimal import Decimal
from importlib.util import find_spec
from pathlib import Path

import pytest
from hypothesis import given, reject, settings
from lxml import etree

from tests import RULES
from tests.triage.generated_conditions import conditions, known_facts
from tests.triage.rulebook_care.dmn.feel_tables import best_by_priority, parsed, rows_that_hold
from triage.decide.causes.answer_values import try_values
from triage.decide.outcome import SAFE_ORDER, Situation, decide_outcome
from triage.logic.conditions import (
    MANY_VALUED,
    AllOf,
    AnyOf,
    Compare,
    Condition,
    FactTest,
    FactValue,
    Not,
    evaluate,
    facts_in,
    holds,
)
from triage.logic.unary_tests import FactType, UnaryTestError
from triage.rulebook.decision_tables import TableError, evaluate_table
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_with_files
from triage.rulebook_care.dmn.exporting import export_model, vocabulary
from triage.rulebook_care.dmn.rows import (
    Column,
    TooManyRows,
    columns_of,
    expression_of,
    feel_value,
    read_column,
    rows_of,
    texts_of,
)
from triage.rulebook_care.dmn.table import DMN_13, DMN_15
from triage.rulebook_care.dmn.write import write_model
from triage.values.errors import NotFoundError

SCHEMA = "SpiffWorkflow/dmn/parser/schema/DMN13.xsd"


@pytest.fixture(scope="module")
def rulebook_and_files() -> tuple[Rulebook, dict[str, object]]:
    rulebook, files = read_with_files(RULES)
    return rulebook, dict(files)


def exported(both: tuple[Rulebook, dict[str, object]], *only: str) -> bytes:
    return write_model(export_model(*both, only))


def test_the_default_rulebook_is_valid_by_the_standards_schema(
    rulebook_and_files: tuple[Rulebook, dict[str, object]],
) -> None:
    found = find_spec("SpiffWorkflow")
    if found is None or found.origin is None:
        pytest.skip("the schema comes with spiffworkflow, which is not installed")
    # That package has the schema of DMN 1.3; what is used here is the same in 1.5 but for the namespace.
    schema = etree.XMLSchema(etree.parse(str(Path(found.origin).parents[1] / SCHEMA)))
    as_13 = exported(rulebook_and_files).replace(DMN_15.encode(), DMN_13.encode())
    schema.assertValid(etree.fromstring(as_13))


def test_one_rulebook_gives_the_same_bytes_whatever_the_order_of_its_files(
    rulebook_and_files: tuple[Rulebook, dict[str, object]],
) -> None:
    rulebook, files = rulebook_and_files
    shuffled = list(files.items())
    random.Random(5).shuffle(shuffled)
    assert exported((rulebook, dict(shuffled))) == exported(rulebook_and_files)


def test_only_the_tables_asked_for_are_written(
    rulebook_and_files: tuple[Rulebook, dict[str, object]],
) -> None:
    root = etree.fromstring(exported(rulebook_and_files, "nte"))
    assert [one.get("name") for one in root.iter(f"{{{DMN_15}}}decision")] == ["nte"]
    assert [one.get("name") for one in root.iter(f"{{{DMN_15}}}inputData")] == ["after_hours", "contractor"]
    with pytest.raises(NotFoundError, match="tables are authority, nte, policy"):
        exported(rulebook_and_files, "ntee")


def test_an_amount_says_its_currency(rulebook_and_files: tuple[Rulebook, dict[str, object]]) -> None:
    nte = export_model(*rulebook_and_files, ["nte"])
    assert [(one.name, one.base) for one in nte.types] == [("amount_USD", "number")]
    assert nte.tables[0].outputs[0].type_ref == "amount_USD"


def values_to_try(rulebook: Rulebook) -> dict[str, tuple[FactValue, ...]]:
    """For each fact the policy looks at, values at and around the bounds of its tests."""
    rules = [rule.head.when for rule in rulebook.policy.values()]
    looked_at = frozenset().union(*map(facts_in, rules)) - MANY_VALUED
    facts = vocabulary(rulebook)
    return {name: try_values(facts[name], rules) for name in sorted(looked_at)}


def random_facts(
    values: dict[str, tuple[FactValue, ...]], symptoms: list[str], rng: random.Random
) -> dict[str, FactValue]:
    """Some of these values; up to four facts are unknown."""
    found: dict[str, FactValue] = {name: rng.choice(some) for name, some in values.items()}
    found["symptom"] = frozenset(rng.sample(symptoms, rng.randint(0, 2)))
    for name in rng.sample(sorted(found), rng.randint(0, 4)):
        del found[name]
    return found


def test_the_exported_policy_decides_as_the_rulebook_does(
    rulebook_and_files: tuple[Rulebook, dict[str, object]],
) -> None:
    rulebook, _ = rulebook_and_files
    table = export_model(*rulebook_and_files, ["policy"]).tables[0]
    rng, facts_of = random.Random(11), vocabulary(rulebook)
    seen = set()
    values, symptoms = values_to_try(rulebook), sorted(rulebook.symptoms)
    for _ in range(400):
        facts = random_facts(values, symptoms, rng)
        fired = [id_ for id_, rule in rulebook.policy.items() if evaluate(rule.head.when, facts) is True]
        rows = rows_that_hold(table, facts_of, facts)
        assert {row.values[2] for row in rows} == {feel_value(id_) for id_ in fired}
        answer = best_by_priority(table, rows)
        if answer is None:
            assert not fired
            continue
        verdict = decide_outcome(rulebook, fired, Situation(True, False, False, False, False), facts)
        assert (answer["outcome"], answer["rule"]) == (
            feel_value(verdict.outcome),
            feel_value(verdict.reasons[0].rule),
        )
        seen.add(verdict.outcome)
    assert seen == set(SAFE_ORDER)


def test_the_exported_limits_answer_as_the_rulebook_does(
    rulebook_and_files: tuple[Rulebook, dict[str, object]],
) -> None:
    rulebook, _ = rulebook_and_files
    facts_of = vocabulary(rulebook)
    contractors = ["brightwater", "fogline", "tern_and_daughters", "", "someone_else", None]
    for table in export_model(*rulebook_and_files, ["nte", "authority"]).tables:
        for contractor in contractors:
            for after_hours in (True, False, None):
                for amount in (None, *(Decimal(text) for text in ("0", "600", "600.01", "1500", "1501"))):
                    given = {"contractor": contractor, "after_hours": after_hours, "amount": amount}
                    facts: dict[str, FactValue] = {k: v for k, v in given.items() if v is not None}
                    rows = rows_that_hold(table, facts_of, facts)
                    try:
                        wanted = evaluate_table(rulebook.limits[table.name], facts)
                    except TableError:
                        assert rows == []
                        continue
                    outputs = tuple(feel_value(value) for value in wanted.outputs.values())
                    assert [row.values for row in rows] == [outputs]


@settings(deadline=None, derandomize=True, max_examples=150)
@given(conditions(["age", "circuit", "noisy", "symptom"]), known_facts())
def test_a_condition_is_true_exactly_when_one_of_its_rows_is(
    condition: Condition, facts: dict[str, FactValue]
) -> None:
    try:
        rows = rows_of(condition)
    except TooManyRows:
        return
    columns = columns_of(rows)
    held = False
    for row in rows:
        truths = []
        for column, text in zip(columns, texts_of(row, columns), strict=True):
            truths.append(text == "-" or _cell_holds(column, text, facts))
        held = held or all(truths)
    assert held is (evaluate(condition, facts) is True)


TYPES: dict[str, FactType] = {"age": "number", "circuit": "text", "noisy": "flag"}


def _cell_holds(column: Column, text: str, facts: dict[str, FactValue]) -> bool:
    value = facts.get(column.fact)
    if column.kind == "known":
        return (value is not None) is (text == "true")
    if column.kind == "member":
        assert value is None or isinstance(value, frozenset)
        return bool((value or frozenset()) & set(column.members)) is (text == "true")
    try:
        test = parsed(text, TYPES[column.fact])
    except UnaryTestError:
        reject()  # an interval in which nothing lies; no rulebook has one
    if value is None:
        return isinstance(test, Not)
    return holds(test, value)  # type: ignore[arg-type]


def test_a_rule_of_too_many_rows_is_refused() -> None:
    pair = AnyOf(tuple(FactTest(f"f{side}", Compare("=", True)) for side in range(2)))
    wide = AllOf(
        tuple(AnyOf(tuple(FactTest(f"f{n}{side}", Compare("=", True)) for side in "ab")) for n in range(7))
    )
    assert len(rows_of(pair)) == 2
    with pytest.raises(TooManyRows, match="more than 64 rows"):
        rows_of(wide)


def test_a_second_test_of_one_fact_takes_a_second_column() -> None:
    both = AllOf((FactTest("age", Compare(">", Decimal(2))), FactTest("age", Compare("<", Decimal(9)))))
    rows = rows_of(both)
    columns = columns_of(rows)
    assert columns == (Column("age"), Column("age"))
    assert texts_of(rows[0], columns) == ("< 9", "> 2")


@pytest.mark.parametrize(
    "column",
    [Column("age"), Column("age", "known"), Column("symptom", "member", ("leaking", "watery"))],
)
def test_a_columns_expression_reads_back(column: Column) -> None:
    assert read_column(expression_of(column)) == (column, False)


def test_texts_carry_the_escapes_of_feel_only() -> None:
    assert feel_value('a"\\\n\b\f\x85é\U0001f600') == '"a\\"\\\\\\n\\u0008\\u000C\\u0085é\U0001f600"'
