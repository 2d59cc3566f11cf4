"""One value of a file as text in a field or cell, and read back.

What a text cannot be read as stays the text, so that the rulebook's reader says what is wrong, in its place.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Literal, TypeAlias

from triage.rulebook.model import Fact
from triage.rulebook_care.forms.unary import YES_NO, as_cell, from_cell
from triage.rulebook_care.forms.vocabulary import REFERS_TO, Vocabulary
from triage.values.errors import RulebookError
from triage.values.plain_data import exact_number, plain
from triage.values.yaml_source import read_yaml

Node: TypeAlias = Mapping[str, Any]
ValueType: TypeAlias = Literal["text", "number", "flag", "date", "choice", "list", "any", "test", "yaml"]
MISSING = object()
"""Instead of a value: the key is not there."""

_UNITS = ("months", "minutes", "hours", "hour", "days", "seconds", "km", "kg", "a_year", "factor", "years")
_LONG = (
    "why",
    "known_misfires",
    "text",
    "text_es",
    "say_es",
    "help",
    "help_es",
    "look_for",
    "look_for_es",
    "say",
    "steps",
)


@dataclass(frozen=True, slots=True)
class Kind:
    """How a value is written. `options` are all there are of a choice, and proposals otherwise (by `ids`)."""

    type: ValueType
    unit: str = ""
    options: tuple[str, ...] = ()
    ids: str = ""
    fact: Fact | None = None
    default: str = ""
    required: bool = False
    long: bool = False
    help: str = ""
    words: tuple[str, ...] = field(default=())  # single words that stand for a whole list


def resolved(node: Node, defs: Node) -> Node:
    """The schema with its reference followed, and without the `null` beside it; `anyOf` of more stays."""
    while True:
        if "$ref" in node:
            node = {**defs[node["$ref"].rpartition("/")[2]], **{k: v for k, v in node.items() if k != "$ref"}}
        elif "anyOf" in node:
            real = [part for part in node["anyOf"] if part.get("type") != "null"]
            if len(real) != 1:
                return node
            node = {**{k: v for k, v in node.items() if k != "anyOf"}, **real[0]}
        else:
            return node


def entries(node: Node) -> Node | None:
    """The schema of what a mapping of ids holds; None for any other schema."""
    if node.get("type") != "object" or "properties" in node:
        return None
    patterns = node.get("patternProperties")
    found = next(iter(patterns.values())) if patterns else node.get("additionalProperties")
    return found if isinstance(found, dict) and found else None


def kind_of(name: str, node: Node, words: Vocabulary, required: bool = False) -> Kind:
    """How a scalar, a list of scalars or anything that is no part of a table is written."""
    defaults = node.get("default")
    default = "" if defaults in (None, [], {}) else show(Kind("any"), defaults)
    ids = REFERS_TO.get(name.removesuffix("_es"), "")
    more = {"default": default, "required": required, "help": node.get("description", "")}
    options = node.get("anyOf", ())
    arrays = [part for part in options if part.get("type") == "array"]
    if node.get("type") == "array" or (arrays and all("const" in part or part in arrays for part in options)):
        items = (arrays[0] if arrays else node)["items"]
        alone = tuple(str(part["const"]) for part in options if "const" in part)
        if items.get("type") not in ("string", "number", "integer") and "anyOf" not in items:
            return Kind("yaml", **more)
        return Kind("list", ids=ids, words=alone, options=tuple(items.get("enum", ())), **more)
    if options and "unary test" in node.get("description", ""):
        return Kind("test", ids=ids, fact=words.facts.get(name), unit=_unit_of(words.facts.get(name)), **more)
    if options:
        return Kind("any", ids=ids, fact=words.facts.get(name), unit=_unit_of(words.facts.get(name)), **more)
    if "enum" in node:
        return Kind("choice", options=tuple(map(str, node["enum"])), **more)
    match node.get("type"):
        case "boolean":
            return Kind("flag", **more)
        case "number" | "integer":
            unit = words.currency if node.get("format") == "money" else _unit(name)
            return Kind("number", unit="0..1" if node.get("format") == "share" else unit, **more)
        case "string" if node.get("format") == "date":
            return Kind("date", **more)
        case "string":
            return Kind("text", ids=ids, long=name in _LONG, **more)
        case _:
            return Kind("yaml", long=True, **more)


def show(kind: Kind, value: object) -> str:
    """The value's text; nothing for what is not there."""
    if value is None or value is MISSING:
        return ""
    if kind.type == "test":
        return as_cell(kind.fact, value)
    if kind.type == "yaml":
        return flow(value)
    match value:
        case bool():
            return "yes" if value else "no"
        case Decimal():
            return format(value, "f")
        case list():
            return "\n".join(show(kind, each) for each in value)
        case dict():
            return flow(value)
        case _:
            return str(value)


def read(kind: Kind, text: str, old: object = MISSING) -> object:
    """The value of a text as it was typed; MISSING for none. What reads as before is what it was."""
    text = text.replace("\r\n", "\n").strip()
    if text == show(kind, old).strip():
        return old
    if not text:
        return MISSING
    match kind.type:
        case "test":
            return from_cell(kind.fact, text)
        case "yaml":
            return read_flow(text)
        case "list" if text in kind.words:
            return text
        case "list":
            lines = (
                line.strip() for line in (text.split("\n") if kind.long or "\n" in text else text.split(","))
            )
            return [line for line in lines if line]
        case "flag":
            return YES_NO.get(text, text)
        case "number":
            return _number(text)
        case "date":
            return _day(text)
        case "any":
            return _any(kind.fact, text)
        case _:
            return text if "\n" in show(kind, old) else " ".join(text.split("\n"))


def flow(value: object) -> str:
    """Plain data on one line of YAML: `{a: 1, b: [x, y]}`."""
    match value:
        case dict():
            return "{" + ", ".join(f"{key}: {flow(each)}" for key, each in value.items()) + "}"
        case list():
            return "[" + ", ".join(map(flow, value)) + "]"
        case str():
            return _quoted(value)
        case None:
            return "null"
        case bool():
            return str(value).lower()
        case _:
            return format(value, "f") if isinstance(value, Decimal) else str(value)


def read_flow(text: str) -> object:
    """The plain data of a text in YAML; the text itself where it is none."""
    try:
        return plain(read_yaml(text.encode(), "cell").data)
    except (RulebookError, UnicodeEncodeError):
        return text


def _quoted(text: str) -> str:
    try:
        bare = read_yaml(f"[{text}]".encode(), "cell").data == [text]
    except (RulebookError, UnicodeEncodeError):
        bare = False
    return text if bare and "#" not in text else "'" + text.replace("'", "''") + "'"


def _any(fact: Fact | None, text: str) -> object:
    """A fact's value, as its type has it."""
    if fact is not None and fact.id == "symptom":
        return [part.strip() for part in text.replace("\n", ",").split(",") if part.strip()]
    if fact is not None and fact.type in ("choice", "text"):
        return text
    if text in YES_NO and (fact is None or fact.type == "flag"):
        return YES_NO[text]
    if text in ("true", "false"):
        return text == "true"
    number = _number(text)
    return _day(text) if number is text else number


def _number(text: str) -> object:
    try:
        return exact_number(text)
    except ValueError:
        return text


def _day(text: str) -> object:
    try:
        return date.fromisoformat(text) if len(text) == 10 else text
    except ValueError:
        return text


def _unit(name: str) -> str:
    found = next((unit for unit in _UNITS if name.endswith(unit)), "")
    return found.replace("_", " ")


def _unit_of(fact: Fact | None) -> str:
    return "" if fact is None else fact.unit or ""
