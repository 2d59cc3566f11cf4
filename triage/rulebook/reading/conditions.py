"""Reads the vocabulary of facts, and `when` trees: tests, any_of, none_of, known, unknown, nested."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from triage.logic.conditions import (
    ALWAYS,
    AllOf,
    AnyOf,
    Condition,
    FactTest,
    Interval,
    Known,
    NoneOf,
    UnaryTest,
    Unknown,
    single_tests,
    values_in,
    walk,
)
from triage.logic.unary_tests import MOST_VALUES, UnaryTestError, parse
from triage.rulebook.built_in_facts import BUILTIN_FACTS, MONEY, VALUES_OF
from triage.rulebook.model import OTHER_CAUSE, Fact
from triage.rulebook.reading.problems import Names, Problems, read_validity
from triage.rulebook.reading.shapes import FactFile
from triage.values.plain_data import Path
from triage.values.units import is_unit

MOST_NESTED = 12
MOST_TESTS = 500
MOST_BRANCHES = 200
"""Of one any_of or none_of, and of one `when`: a wider one would not compile in the inference engine."""

WORDS = ("any_of", "none_of", "known", "unknown")


def read_when(names: Names, file: str, path: Path, raw: object) -> Condition:
    """The condition; ALWAYS for an empty mapping, and in place of what could not be read."""
    condition = _mapping(names, file, path, raw, 1)
    leaves = list(walk(condition))
    if len(leaves) > MOST_TESTS:
        message = f"the condition has {len(leaves)} tests; at most {MOST_TESTS} can be used: split the rule"
        names.problems.at(file, path, message)
    values: Counter[str] = Counter()
    for leaf in leaves:
        if isinstance(leaf, FactTest):
            values[leaf.fact] += sum(1 for _ in single_tests(leaf.test))
    for fact, count in values.items():
        if count > MOST_VALUES:
            message = (
                f"{count} values of {fact} are listed; at most {MOST_VALUES} can be used: split the rule"
            )
            names.problems.at(file, path, message)
    return condition


def read_test(names: Names, file: str, path: Path, raw: object, fact: Fact) -> UnaryTest | None:
    """A fact's unary test, or None with a located problem."""
    try:
        test = parse(raw, fact.type, fact.choices)
    except UnaryTestError as error:
        names.problems.at(file, path, f"{fact.id}: {error.message}", column=error.column)
        return None
    if fact.id in VALUES_OF:
        for value in values_in(test):
            names.refuse_set_aside(VALUES_OF[fact.id], str(value), file, path)
    return test


def _mapping(names: Names, file: str, path: Path, raw: object, depth: int) -> Condition:
    if not isinstance(raw, dict):
        names.problems.at(file, path, "a mapping of `fact: test` lines is wanted here")
        return ALWAYS
    if depth > MOST_NESTED:
        names.problems.at(file, path, f"conditions nest at most {MOST_NESTED} deep; use a derived fact")
        return ALWAYS
    parts: list[Condition] = []
    for key, value in raw.items():
        parts.extend(_line(names, file, (*path, key), key, value, depth))
    if len(parts) > MOST_BRANCHES:
        names.problems.at(file, path, f"{len(parts)} lines stand here; at most {MOST_BRANCHES} can be used")
    return parts[0] if len(parts) == 1 else AllOf(tuple(parts))


def _line(names: Names, file: str, path: Path, key: str, value: object, depth: int) -> Iterator[Condition]:
    match key:
        case "any_of" | "none_of":
            branches = _branches(names, file, path, key, value, depth)
            if branches:
                yield AnyOf(branches) if key == "any_of" else NoneOf(branches)
        case "known" | "unknown":
            for fact in _fact_list(names, file, path, key, value):
                yield Known(fact) if key == "known" else Unknown(fact)
        case _:
            known = names.fact(key, file, path, words=WORDS)
            test = read_test(names, file, path, value, known) if known is not None else None
            if test is not None:
                yield FactTest(key, test)


def _branches(
    names: Names, file: str, path: Path, key: str, value: object, depth: int
) -> tuple[Condition, ...]:
    if not isinstance(value, list) or not value:
        names.problems.at(file, path, f"{key} takes a list of mappings, each with `fact: test` lines")
        return ()
    if len(value) > MOST_BRANCHES:
        message = f"{key} has {len(value)} branches; at most {MOST_BRANCHES} can be used: split the rule"
        names.problems.at(file, path, message)
        return ()
    for index, part in enumerate(value):
        if part == {}:
            names.problems.at(file, (*path, index), "this branch is empty, so it always holds; take it out")
    return tuple(_mapping(names, file, (*path, i), part, depth + 1) for i, part in enumerate(value))


def _fact_list(names: Names, file: str, path: Path, key: str, value: object) -> Iterator[str]:
    if not isinstance(value, list) or not value or not all(isinstance(part, str) for part in value):
        names.problems.at(file, path, f"{key} takes a list of facts, such as [filter_days]")
        return
    for index, fact in enumerate(value):
        if names.check("facts", fact, file, (*path, index)):
            yield fact


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
