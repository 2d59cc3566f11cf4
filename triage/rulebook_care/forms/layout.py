"""The parts of a file's form, by its schema: fields, tables and conditions, filled from its data."""

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import Any

from triage.rulebook.reading.json_schema import schemas
from triage.rulebook_care.editing.pruned import facts_of
from triage.rulebook_care.forms.parts import (
    GROUPS,
    MORE,
    STAR,
    Column,
    Field,
    Line,
    Part,
    Row,
    Table,
    When,
    entries_at,
    found_at,
)
from triage.rulebook_care.forms.unary import WORDS, asked_of, taken_apart
from triage.rulebook_care.forms.values import Kind, Node, entries, kind_of, resolved, show
from triage.rulebook_care.forms.vocabulary import REFERS_TO, Vocabulary
from triage.values.plain_data import Path


def parts_of(file: str, data: Mapping[str, Any], words: Vocabulary) -> tuple[Part, ...]:
    """The form of a file such as "limits/nte.yml" that holds this data."""
    kind = file.rpartition("/")[0] or file
    schema = _schemas()[kind]
    return tuple(_Maker(schema["$defs"], data, words).parts(schema, ()))


@cache
def _schemas() -> Mapping[str, Mapping[str, Any]]:
    return schemas()


class _Maker:
    def __init__(self, defs: Node, data: Mapping[str, Any], words: Vocabulary) -> None:
        self.defs, self.data, self.words = defs, data, words

    def parts(self, node: Node, path: Path) -> Iterator[Part]:
        required = node.get("required", ())
        for name, raw in _paired(node["properties"]):
            child, at = resolved(raw, self.defs), (*path, name)
            if child.get("title") == "When" and "any_of" in child.get("properties", ()):
                yield self.when(at, found if isinstance(found := found_at(self.data, at), dict) else {})
            elif "properties" in child:
                yield from self.parts(child, at)
            elif self._is_table(child):
                yield from self.tables(child, (*path, name), (), name in required)  # type: ignore[arg-type]
            else:
                kind = kind_of(name, child, self.words, name in required)
                yield Field(at, titled(name), kind, show(kind, found_at(self.data, at)))

    def _is_table(self, node: Node) -> bool:
        if node.get("type") == "array":
            return "properties" in resolved(node["items"], self.defs)
        return entries(node) is not None

    def tables(
        self, node: Node, path: tuple[str, ...], keys: tuple[Column, ...], wanted: bool = True
    ) -> Iterator[Table]:
        """The table of a collection, and those of the collections within its entries."""
        is_list = node.get("type") == "array"
        entry = resolved(node["items"] if is_list else entries(node) or {}, self.defs)
        name = path[-1] if path[-1] != STAR else path[-2]
        if not is_list:
            ids = REFERS_TO.get(name, "")
            title = titled(ids.removesuffix("s")) if ids else "Id"
            keys = (*keys, Column(("",), title, Kind("text", ids=ids, required=True)))
        below = (*path, STAR)
        if self._is_table(entry):
            yield from self.tables(entry, below, keys, wanted)
            return
        inner: list[tuple[tuple[str, ...], Node]] = []
        columns = tuple(self.columns(entry, (), below, inner, name))
        rows = tuple(self.rows(below, keys, columns))
        yield Table(below, _title_of(below), keys, columns, rows, is_list, wanted)
        for within, collection in inner:
            numbered = (Column(("",), "Row", Kind("number", required=True)),) if is_list else ()
            yield from self.tables(collection, (*below, *within), (*keys, *numbered), False)

    def columns(
        self,
        node: Node,
        at: tuple[str, ...],
        table: tuple[str, ...],
        inner: list[tuple[tuple[str, ...], Node]],
        name: str,
    ) -> Iterator[Column]:
        if "properties" not in node:
            yield Column((), "Value", kind_of(name, node, self.words, True))
            return
        required = node.get("required", ())
        for key, raw in _paired(node["properties"]):
            child, path = resolved(raw, self.defs), (*at, key)
            values = entries(child)
            if "any_of" in child.get("properties", ()):
                yield Column(path, titled(key), Kind("yaml", required=key in required))
            elif "properties" in child:
                yield from self.columns(child, path, table, inner, key)
            elif values is not None and not self._is_table(resolved(values, self.defs)):
                value = resolved(values, self.defs)
                for each in self._named(table, path):
                    kind = kind_of(each, value, self.words)
                    yield Column((*path, each), titled(each), kind)
                if key != "then":
                    title = f"{titled(key)}, more"
                    yield Column((*path, MORE), title, Kind("yaml", help="others, as `fact: value`"))
            elif self._is_table(child):
                inner.append((path, child))
            else:
                yield Column(path, titled(key), kind_of(key, child, self.words, key in required))

    def _named(self, table: tuple[str, ...], path: tuple[str, ...]) -> Sequence[str]:
        """The keys that get a column: those of a limit table or the rule's condition, and those in use."""
        limits = {"when": "inputs", "then": "outputs"}
        first: object = self.data.get(limits.get(path[-1], ""), ()) if table == ("rows", STAR) else ()
        when = self.data.get("when")
        if table == ("cases", STAR) and isinstance(when, dict):
            first = sorted(facts_of(when))
        used = [
            name
            for _, _, entry in entries_at(self.data, table)
            if isinstance(found := found_at(entry, path), dict)
            for name in found
        ]
        first = [str(each) for each in first] if isinstance(first, list | tuple) else []
        return list(dict.fromkeys((*first, *used)))

    def rows(
        self, table: tuple[str, ...], keys: tuple[Column, ...], columns: tuple[Column, ...]
    ) -> Iterator[Row]:
        for path, ids, entry in entries_at(self.data, table):
            yield Row(path, (*ids, *(_text(column, entry) for column in columns)))

    def when(self, path: Path, data: Mapping[str, Any]) -> When:
        lines, groups = [], []
        for key, value in data.items():
            at = (*path, key)
            if key in GROUPS:
                parts = value if isinstance(value, list) else []
                inside = [
                    self.when((*at, index), part)
                    for index, part in enumerate(parts)
                    if isinstance(part, dict)
                ]
                groups.append((key, tuple(inside)))
            elif key in ("known", "unknown"):
                named = value if isinstance(value, list) else [value]
                lines += [self.line((*at, index), str(fact), key, "") for index, fact in enumerate(named)]
            else:
                lines.append(self.line(at, key, *taken_apart(self.words.facts.get(key), value)))
        return When(path, "When", tuple(lines), tuple(groups))

    def line(self, path: Path, fact: str, asked: str, values: str) -> Line:
        known = self.words.facts.get(fact)
        asks = tuple((each, WORDS[each]) for each in asked_of(known))
        choices: Mapping[str, str] = {} if known is None else known.choices
        return Line(path, fact, asked, values, asks, choices, "" if known is None else known.unit or "")


def titled(name: str) -> str:
    """A key as a label."""
    if name.endswith("_es"):
        return f"{titled(name.removesuffix('_es'))} (Spanish)"
    return name.replace("_", " ").capitalize()


def _title_of(path: tuple[str, ...]) -> str:
    return " – ".join(titled(part) for part in path if part not in (STAR, "then"))


def _paired(properties: Mapping[str, Node]) -> Iterator[tuple[str, Node]]:
    """Id and title first, days last; the Spanish of a text beside it."""
    order = {"id": 0, "title": 1, "title_es": 2, "valid_from": 9, "valid_to": 9, "lint_off": 10}
    kept = ((key, node) for key, node in properties.items() if not node.get("deprecated"))
    yield from sorted(kept, key=lambda pair: order.get(pair[0], 5))


def _text(column: Column, entry: object) -> str:
    shown = "" if column.path[-1:] == (MORE,) else show(column.kind, found_at(entry, column.path))
    return shown.replace("\n", ", ") if column.kind.type in ("list", "any") else shown
