"""Reads `when` trees: fact -> unary test, any_of, none_of, known, unknown, nested to a bounded depth."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from triage.logic.conditions import (
    ALWAYS,
    AllOf,
    AnyOf,
    Condition,
    FactTest,
    Known,
    NoneOf,
    UnaryTest,
    Unknown,
    walk,
)
from triage.logic.unary_tests import MOST_VALUES, UnaryTestError, parse
from triage.logic.value_sets import single_tests, values_in
from triage.rulebook.built_in_facts import VALUES_OF
from triage.rulebook.model import Fact
from triage.rulebook.reading.problems import Names
from triage.values.plain_data import Path

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
