"""A limit table's file out of a decision table."""

from collections.abc import Mapping, Sequence
from datetime import date

from triage.logic.conditions import UnaryTest
from triage.logic.unary_tests import UnaryTestError, parse
from triage.rulebook.built_in_facts import LIMIT_DAY
from triage.rulebook.validity import Validity, validity_of
from triage.rulebook_care.dmn.cells import CellReader, Raw, ReadRow, raw_value, tests_of
from triage.rulebook_care.dmn.rows import Cell, row_of, xml_text
from triage.rulebook_care.dmn.table import Table
from triage.values.plain_data import canonical, plain

_ORDER = [
    "id",
    "title",
    "kind",
    "hit_policy",
    "inputs",
    "outputs",
    "rows",
    "output_order",
    "collect",
    "authorities",
    "source",
    "lint_off",
]
_DAYS = ("valid_from", "valid_to")


def limit_data(
    reader: CellReader, table: Table, rows: Sequence[ReadRow], name: str, known: object
) -> Mapping[str, object]:
    """The file's data. `known` is what is known of it, for what a decision table has no place for."""
    raw: Raw = dict(known) if isinstance(known, dict) else {}
    outputs = [output.name for output in table.outputs]
    facts = _inputs(rows, table, reader)
    was = raw.get("inputs")
    made: Raw = {
        **raw,
        "id": name,
        "title": keep_text(raw.get("title"), table.label) or table.name,
        "kind": raw.get("kind") or ("authority" if "authority" in outputs else "nte"),
        "hit_policy": table.hit_policy,
        "inputs": was if isinstance(was, list) and set(map(str, was)) == set(facts) else facts,
        "outputs": outputs,
        "rows": _rows(reader, rows, raw.get("rows")),
        "source": keep_text(raw.get("source"), table.description)
        or f"imported from {reader.file}, which names no source",
    }
    _put_collect(made, table.aggregation)
    _put_order(reader, made, table)
    return {key: made[key] for key in (*_ORDER, *made) if key in made}


def keep_text(was: object, now: str) -> object:
    """The text as it was where only spacing and what XML cannot hold differ; None where there is neither."""
    if isinstance(was, str) and (not now or xml_text(was).split() == now.split()):
        return was
    return now or None


def _inputs(rows: Sequence[ReadRow], table: Table, reader: CellReader) -> list[str]:
    columns = [read[0] for one in table.inputs if (read := reader.column_of(one.expression)) is not None]
    return list(dict.fromkeys(column.fact for column in columns if column.fact != LIMIT_DAY))


def _rows(reader: CellReader, rows: Sequence[ReadRow], was: object) -> list[object]:
    """Each row as it was where its cells are the same, its `when` as it was where only outputs changed."""
    whole: dict[tuple[object, str], object] = {}
    tested: dict[object, Raw] = {}
    for raw in was if isinstance(was, list) else []:
        if isinstance(raw, dict) and (key := _key(reader, raw)) is not None:
            whole.setdefault((key, _outputs(raw.get("then"))), raw)
            tested.setdefault(key, {name: raw[name] for name in ("when", *_DAYS) if name in raw})
    made: list[object] = []
    for row in rows:
        then = {name: raw_value(value) for name, value in row.values.items()}
        same = whole.get((row.key, _outputs(then)))
        if same is not None:
            made.append(same)
            continue
        when = tested.get(row.key)
        if when is None:
            found = tests_of(row)
            dated = found if isinstance(found, str) else _dated(found)
            if isinstance(dated, str):
                reader.problem(row.rule.line, dated)
                continue
            when = dated
        made.append({**when, "then": then})
    return made


def _dated(tests: Raw) -> Raw | str:
    """The row's tests as `when`, that of the day as `valid_from` and `valid_to`; or why it cannot be one."""
    day = tests.pop(LIMIT_DAY, None)
    when: Raw = {"when": tests} if tests else {}
    if day is None:
        return when
    valid = validity_of(parse(day, "date", {}))
    if valid is None:
        return f"{LIMIT_DAY} takes `>= first day`, `<= last day` or `[first day..last day]`, not {day}"
    days = zip(_DAYS, (valid.valid_from, valid.valid_to), strict=True)
    return {**when, **{name: one for name, one in days if one is not None}}


def _key(reader: CellReader, raw: Raw) -> frozenset[Cell] | None:
    """The cells that a raw row makes; None where it cannot be read."""
    tests: list[tuple[str, UnaryTest]] = []
    when = raw.get("when", {})
    try:
        days = [None if raw.get(name) is None else date.fromisoformat(str(raw[name])) for name in _DAYS]
    except ValueError:
        return None
    day = Validity(*days).test()
    if day is not None:
        tests.append((LIMIT_DAY, day))
    for name, raw in when.items() if isinstance(when, dict) else ():
        fact = reader.facts.get(name)
        if fact is None:
            return None
        try:
            tests.append((name, parse(raw, fact.type, fact.choices)))
        except UnaryTestError:
            return None
    return frozenset(row_of(tests))


def _outputs(then: object) -> str:
    """A key of a row's outputs; in JSON a date is its text, so both count as one."""
    return canonical(plain(then))


def _put_collect(made: Raw, aggregation: str | None) -> None:
    if aggregation is not None:
        made["collect"] = aggregation
    elif made.get("collect") is not None:
        del made["collect"]


def _put_order(reader: CellReader, made: Raw, table: Table) -> None:
    """The order of outputs, best first; it is the output's list of values in a PRIORITY table."""
    first = table.outputs[0]
    if table.hit_policy != "PRIORITY":
        return
    if first.values is None:
        reader.problem(first.line, "a PRIORITY table lists the output's values, best first; add them")
        return
    values = reader.values(first.values, first.line, first.name)
    was = made.get("output_order")
    now = [raw_value(value) for value in values or ()]
    if not isinstance(was, list) or _outputs(was) != _outputs(now):
        made["output_order"] = now
