"""What a form offers to choose from: facts, and the ids of everything else with their titles."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

from triage.rulebook.built_in_facts import BUILTIN_FACTS, VALUES_OF, in_currency
from triage.rulebook.model import Fact

REFERS_TO: Mapping[str, str] = {
    "shares": "causes",
    "seen_with": "causes",
    "resolves": "causes",
    "together_with": "symptoms",
    "symptom": "symptoms",
    "cautions": "cautions",
    "forbids": "checks",
    "first": "checks",
    "ask_first": "facts",
    "set": "facts",
    "otherwise": "facts",
    "facts": "facts",
    "danger": "facts",
    "inputs": "facts",
    "parts": "parts",
    "component": "components",
    "periods": "components",
    "authority": "authorities",
    "deputies": "authorities",
    "contractor": "contractors",
    "contractors": "contractors",
}
"""The name of a field, a table or a column -> the kind of the ids in it."""

_TYPES = ("number", "choice", "flag", "date", "time", "text")


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """`ids` is kind -> id -> title; `currency` that of every amount."""

    facts: Mapping[str, Fact]
    ids: Mapping[str, Mapping[str, str]]
    currency: str


def vocabulary(files: Mapping[str, object]) -> Vocabulary:
    """Of a rulebook's files as plain data; what cannot be read in them is left out."""
    ids: dict[str, dict[str, str]] = {
        kind: {} for kind in ("facts", "causes", "symptoms", "checks", "cautions", "parts", "components")
    }
    own: dict[str, Fact] = {}
    for file, data in sorted(files.items()):
        kind, _, name = file.removesuffix(".yml").rpartition("/")
        if not isinstance(data, dict):
            continue
        title = str(data.get("title", name))
        ids.setdefault(kind, {})[name] = title
        if kind == "facts" and data.get("type") in _TYPES:
            choices = {key: str(value) for key, value in _mapping(data.get("choices")).items()}
            own[name] = Fact(name, title, data["type"], "clerk", _text(data.get("unit")), choices=choices)
        elif kind == "causes" and "component" in data:
            ids["components"][str(data["component"])] = ""
    ids["components"]["default"] = "every other component"
    ids["causes"] |= {"other": "any other cause", "others": "any cause not named (evidence)"}
    ids["parts"] = dict(_titles(files, "parts.yml", "parts"))
    ids["contractors"] = dict(_titles(files, "rates.yml", "contractors"))
    limits = [file for file in files if file.startswith("limits/")]
    ids["authorities"] = {id_: title for file in limits for id_, title in _titles(files, file, "authorities")}
    currency = str(_mapping(files.get("rulebook.yml")).get("currency", ""))
    facts = {**in_currency(BUILTIN_FACTS, currency), **own}
    ids["facts"] = {id_: fact.title for id_, fact in facts.items()}
    return Vocabulary(_with_choices(facts, ids), ids, currency)


def _with_choices(facts: dict[str, Fact], ids: Mapping[str, Mapping[str, str]]) -> dict[str, Fact]:
    """The built-in facts whose values are entries of this rulebook."""
    named = {**VALUES_OF, "component": "components"}
    return {
        id_: replace(fact, choices=ids[named[id_]]) if id_ in named else fact for id_, fact in facts.items()
    }


def _titles(files: Mapping[str, object], file: str, key: str) -> Iterator[tuple[str, str]]:
    for id_, entry in _mapping(_mapping(files.get(file)).get(key)).items():
        yield id_, str(_mapping(entry).get("title", ""))


def _mapping(data: object) -> Mapping[str, Any]:
    return cast("Mapping[str, Any]", data) if isinstance(data, dict) else {}


def _text(data: object) -> str | None:
    return data if isinstance(data, str) else None
