"""Conditions in one normal form: negation stands at the leaves; from there, alternatives of conjunctions.

In Kleene's logic a condition is true exactly when this form of it is true, and false exactly when the form
of its negation is. What a leaf becomes, and how parts are joined, is the asker's business.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import TypeAlias, TypeVar

from triage.logic.conditions import AllOf, AnyOf, Anything, Condition, FactTest, Known, NoneOf, Unknown

Made = TypeVar("Made")
Key = TypeVar("Key")
Value = TypeVar("Value")

Leaf: TypeAlias = FactTest | Known
"""A test that may come out either way; that a fact is unknown is that it is not known."""


def normal_form(
    condition: Condition,
    wanted: bool,
    leaf: Callable[[Leaf, bool], Made],
    every: Callable[[Iterable[Made]], Made],
    some: Callable[[Iterable[Made]], Made],
) -> Made:
    """What must be so for the condition to come out as wanted.

    `leaf` makes it of one test and the truth wanted of it; `every` and `some` join what was made of parts.
    """

    def of(part: Condition, wanted: bool) -> Made:
        match part:
            case FactTest(_, Anything()):
                return (every if wanted else some)(())
            case FactTest() | Known():
                return leaf(part, wanted)
            case Unknown(fact):
                return leaf(Known(fact), not wanted)
            case AllOf(parts):
                return (every if wanted else some)(of(inner, wanted) for inner in parts)
            case AnyOf(parts):
                return (some if wanted else every)(of(inner, wanted) for inner in parts)
            case NoneOf(parts):
                return of(AnyOf(parts), not wanted)

    return of(condition, wanted)


def alternatives(
    condition: Condition,
    wanted: bool,
    leaf: Callable[[Leaf, bool], Iterable[Mapping[Key, Value]]],
    both: Callable[[Mapping[Key, Value], Mapping[Key, Value]], Mapping[Key, Value] | None],
    most: int,
    too_many: Exception,
) -> list[Mapping[Key, Value]]:
    """The conjunctions of which one must hold for the condition to come out as wanted; none: it never does.

    A conjunction is a mapping, the empty one holds always. `leaf` gives the alternatives of one test, `both`
    joins two conjunctions (None: they exclude each other). Beyond `most` different ones, at whatever depth,
    `too_many` is raised.
    """

    def some(parts: Iterable[Iterable[Mapping[Key, Value]]]) -> list[Mapping[Key, Value]]:
        found: dict[frozenset[tuple[Key, Value]], Mapping[Key, Value]] = {}
        for part in parts:
            for one in part:
                found.setdefault(frozenset(one.items()), one)
                if len(found) > most:
                    raise too_many
        return list(found.values())

    def every(parts: Iterable[list[Mapping[Key, Value]]]) -> list[Mapping[Key, Value]]:
        found: list[Mapping[Key, Value]] = [{}]
        for part in parts:
            pairs = (both(left, right) for left in found for right in part)
            found = some([[one for one in pairs if one is not None]])
        return found

    return normal_form(condition, wanted, lambda test, wanted: some([leaf(test, wanted)]), every, some)
