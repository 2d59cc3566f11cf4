"""Reads the facts: the rulebook's own vocabulary, joined with the facts the program computes itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from triage.logic.conditions import Interval
from triage.logic.unary_tests import UnaryTestError, parse
from triage.rulebook.built_in_facts import BUILTIN_FACTS, MONEY
from triage.rulebook.model import OTHER_CAUSE, Fact
from triage.rulebook.reading.conditions import WORDS
from triage.rulebook.reading.problems import Problems, read_validity
from triage.rulebook.reading.shapes import FactFile
from triage.values.plain_data import Path
from triage.values.units import is_unit

_RANGED = frozenset({"number", "date", "time"})


def read_facts(files: Mapping[str, FactFile], problems: Problems) -> Mapping[str, Fact]:
    """The rulebook's own facts by id; those with problems are left out."""
    facts: dict[str, Fact] = {}
    for file, shape in files.items():
        before = len(problems.found)
        fact = _fact(shape, file, problems)
        if len(problems.found) == before:
            facts[fact.id] = fact
    return facts


def built_in_facts(
    symptoms: Iterable[str], causes: Iterable[str], components: Iterable[str]
) -> Mapping[str, Fact]:
    """The built-in facts, with the choices that only a rulebook can name."""
    named = {
        "symptom": sorted(symptoms),
        "top_cause": sorted({*causes, OTHER_CAUSE}),
        "component": sorted(components),
    }
    return {
        fact_id: replace(fact, choices={name: name for name in named[fact_id]})
        if fact.type == "choice" and not fact.choices and fact_id in named
        else fact
        for fact_id, fact in BUILTIN_FACTS.items()
    }


def _fact(shape: FactFile, file: str, problems: Problems) -> Fact:
    if shape.id in BUILTIN_FACTS:
        message = f'"{shape.id}" is a fact the program computes itself; give this one another id'
        problems.at(file, ("id",), message)
    if shape.id in WORDS:
        problems.at(file, ("id",), f'"{shape.id}" is a keyword of conditions; give the fact another id')
    if shape.type == "choice" and not shape.choices:
        problems.at(file, ("type",), "a fact of type choice needs `choices`, each an id with its title")
    if shape.type != "choice" and shape.choices:
        problems.at(file, ("choices",), f"only a fact of type choice has choices; this is a {shape.type}")
    if shape.choices and len(shape.choices) > 200:
        problems.at(file, ("choices",), f"there are {len(shape.choices)} choices; at most 200 can be used")
    if shape.unit is not None and shape.type != "number":
        problems.at(file, ("unit",), f"only a number has a unit; this is a {shape.type}")
    elif shape.unit is not None and shape.unit != MONEY and not is_unit(shape.unit):
        known = f"a unit pint knows, such as d, h, inch or degF, nor {MONEY}"
        problems.at(file, ("unit",), f'"{shape.unit[:40]}" is not {known}')
    if shape.asked_of in ("clerk", "technician") and not shape.ask:
        problems.at(file, ("asked_of",), f"a fact asked of the {shape.asked_of} needs `ask`, the question")
    if shape.danger and shape.type != "flag":
        problems.at(file, ("danger",), f"only a flag can be a danger; this is a {shape.type}")
    valid = read_validity(problems, file, (), shape)
    return shape.as_record(
        Fact, range=_range(shape, file, problems), choices=shape.choices or {}, valid=valid
    )


def _range(shape: FactFile, file: str, problems: Problems) -> Interval | None:
    path: Path = ("range",)
    if shape.range is None:
        return None
    if shape.type not in _RANGED:
        problems.at(file, path, f"a {shape.type} has no range; numbers, dates and times have")
        return None
    try:
        test = parse(shape.range, shape.type)
    except UnaryTestError as error:
        problems.at(file, path, f"range: {error.message}", column=error.column)
        return None
    if isinstance(test, Interval):
        return test
    problems.at(file, path, "a range is one interval, such as [0..3650]")
    return None
