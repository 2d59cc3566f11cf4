"""The policy's files out of its decision table: one file for each id in the output `rule`."""

import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from triage.decide.causes.answer_values import try_values
from triage.logic.conditions import ALWAYS, MANY_VALUED, Condition, FactValue, evaluate, facts_in
from triage.rulebook.fact_values import write_value
from triage.rulebook.reading.conditions import read_when
from triage.rulebook.reading.problems import Names, Problems
from triage.rulebook_care.dmn.cells import CellReader, Raw, ReadRow, when_of
from triage.rulebook_care.dmn.exporting import POLICY_NOTES, THEN_NOTES, policy_notes
from triage.rulebook_care.dmn.import_limits import keep_text
from triage.rulebook_care.dmn.rows import Row, TooManyRows, rows_of
from triage.rulebook_care.dmn.table import POLICY_OUTPUTS, Table
from triage.values.plain_data import exact_number

_ID = re.compile(r"[a-z][a-z0-9_-]{0,63}")
_ORDER = [
    "id",
    "title",
    "status",
    "owner",
    "why",
    "source",
    "when",
    "then",
    "known_misfires",
    "cases",
    "lint_off",
]
_OPTIONAL = frozenset({"visit_priority"})
MADE_CASE = "made from the row at import; put one from the field in its place"


def policy_files(
    reader: CellReader,
    table: Table,
    rows: Sequence[ReadRow],
    known: Mapping[str, object],
    before: Mapping[str, object],
) -> tuple[dict[str, object | None], dict[str, int]]:
    """Path -> data, None for a live rule that is not in the table any more; and path -> line of its row.

    `known` are the files that the extension brings, `before` those of the rulebook.
    """
    names = tuple(output.name for output in table.outputs)
    if table.hit_policy != "PRIORITY" or set(names) != set(POLICY_OUTPUTS):
        message = f"the policy has hit policy PRIORITY and the outputs {', '.join(POLICY_OUTPUTS)}"
        reader.problem(table.line, message)
        return {}, {}
    made: dict[str, object | None] = {}
    lines: dict[str, int] = {}
    for rule_id, group in _groups(reader, rows).items():
        path = f"policy/{rule_id}.yml"
        lines[path] = group[0].rule.line
        raw = known.get(path, before.get(path))
        made[path] = _rule(reader, rule_id, group, dict(raw) if isinstance(raw, dict) else {})
    for path, raw in [*_policies(before), *_policies(known)]:
        if path not in lines:
            made[path] = raw if _rests(reader, raw) else None
    return made, lines


def _policies(files: Mapping[str, object]) -> Iterator[tuple[str, object]]:
    return ((path, data) for path, data in files.items() if path.startswith("policy/"))


def _groups(reader: CellReader, rows: Sequence[ReadRow]) -> dict[str, list[ReadRow]]:
    groups: dict[str, list[ReadRow]] = {}
    for row in rows:
        if len(row.values) < len(POLICY_OUTPUTS):
            continue  # reported already
        rule = row.values["rule"]
        if not isinstance(rule, str) or not _ID.fullmatch(rule):
            message = f'rule: "{str(rule)[:64]}" cannot be an id; use a-z, 0-9, - and _, such as "came-back"'
            reader.problem(row.rule.line, message)
            continue
        group = groups.setdefault(rule, [])
        if group and group[0].values != row.values:
            message = f'the rows of "{rule}" differ in priority or outcome; one rule has one of each'
            reader.problem(row.rule.line, message)
        group.append(row)
    return groups


def _rests(reader: CellReader, raw: object) -> bool:
    """Whether a rule has no row by itself: it is not live, or its condition is never true."""
    if not isinstance(raw, dict) or raw.get("status") != "live":
        return True
    found = _rows(reader, raw.get("when"))
    return found is not None and not found


def _rows(reader: CellReader, when: object) -> tuple[Row, ...] | None:
    condition = _condition(reader, when)
    try:
        return None if condition is None else rows_of(condition)
    except TooManyRows:
        return None


def _condition(reader: CellReader, when: object) -> Condition | None:
    problems = Problems({})
    names = Names(problems, {"facts": frozenset(reader.facts)}, reader.facts, None, None)
    condition = ALWAYS if when is None or when == {} else read_when(names, "", (), when)
    return None if problems.found else condition


def _rule(reader: CellReader, rule_id: str, rows: Sequence[ReadRow], raw: Raw) -> Raw:
    was = _rows(reader, raw.get("when")) if raw.get("status") == "live" else None
    same = was is not None and {frozenset(row) for row in was} == {row.key for row in rows}
    when = raw["when"] if same and "when" in raw else when_of(rows)
    then = raw.get("then")
    made: Raw = {
        **raw,
        "id": rule_id,
        "status": "live",
        "when": when,
        "then": {**(then if isinstance(then, dict) else {}), **_then(rows[0])},
    }
    _put_notes(reader, made, raw, rows[0])
    if "cases" not in made:
        made["cases"] = _cases(reader, when, rows[0].rule.line)
    return {key: made[key] for key in (*_ORDER, *made) if key in made}


def _then(row: ReadRow) -> Raw:
    return {"outcome": row.values["outcome"], "priority": row.values["priority"]}


def _put_notes(reader: CellReader, made: Raw, raw: Raw, row: ReadRow) -> None:
    """Annotations that say something count; `visit_priority` is taken out where its cell is empty."""
    then = made["then"]
    assert isinstance(then, dict)
    known = policy_notes(raw)
    missing = []
    for name in POLICY_NOTES:
        said = row.rule.notes.get(name)
        place = then if name in THEN_NOTES else made
        if said is None or not said.strip():
            if name in _OPTIONAL and said is not None:
                place.pop(name, None)
            elif name not in _OPTIONAL and name not in place:
                missing.append(name)
        elif known.get(name, "").split() != said.split():
            place[name] = _note(reader, name, said, row.rule.line)
    if missing:
        message = f"a new rule says these in annotation columns, too: {', '.join(missing)}; write them"
        reader.problem(row.rule.line, message)


def _note(reader: CellReader, name: str, said: str, line: int) -> object:
    if name != "visit_priority":
        return keep_text(None, said)
    try:
        return exact_number(said.strip())
    except ValueError as error:
        reader.problem(line, f"visit_priority: {error}; write a number from 1 to 9")
        return Decimal(1)


def _cases(reader: CellReader, when: object, line: int) -> list[object]:
    """One case in which a new rule fires and one in which it does not, at the bounds of its tests."""
    condition = _condition(reader, when)
    if condition is None or condition == ALWAYS:
        return []
    names = sorted(facts_in(condition))
    values: dict[str, tuple[FactValue, ...]] = {}
    for name in names:
        found = try_values(reader.facts[name], [condition])
        values[name] = tuple(frozenset([str(one)]) for one in found) if name in MANY_VALUED else found
    fires = _witness(condition, names, values, True)
    silent = None if fires is None else _change(condition, fires, values)
    if fires is None or silent is None:
        reader.problem(line, "no facts were found on which this row holds and others on which it does not")
        return []
    return [
        {
            "facts": {name: write_value(value) for name, value in facts.items()},
            "fires": truth,
            "note": MADE_CASE,
        }
        for facts, truth in ((fires, True), (silent, False))
    ]


MOST_TRIES = 20_000


def _witness(
    condition: Condition, names: Sequence[str], values: Mapping[str, tuple[FactValue, ...]], wanted: bool
) -> dict[str, FactValue] | None:
    """Facts on which the condition is true; some may stay unknown. None after MOST_TRIES."""
    tries = 0
    found: dict[str, FactValue] = {}

    def go(index: int) -> bool:
        nonlocal tries
        tries += 1
        truth = evaluate(condition, found)
        if truth is wanted:
            return True
        if index == len(names) or tries > MOST_TRIES:
            return False
        for value in values[names[index]]:
            found[names[index]] = value
            if evaluate(condition, found) is not False and go(index + 1):
                return True
            del found[names[index]]
        return go(index + 1)

    return found if go(0) else None


def _change(
    condition: Condition, fires: Mapping[str, FactValue], values: Mapping[str, tuple[FactValue, ...]]
) -> dict[str, FactValue] | None:
    """The same facts with one of them changed so that the condition is not true."""
    for name, some in values.items():
        for value in some:
            changed = {**fires, name: value}
            if evaluate(condition, changed) is not True:
                return changed
    return None
