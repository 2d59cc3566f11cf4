"""A `when` as it stands in a file, without what can no longer hold."""

from collections.abc import Callable, Sequence
from typing import Any, TypeAlias

from triage.logic.conditions import Anything, Compare, Not, OneOf, UnaryTest
from triage.logic.unary_tests import UnaryTestError, parse
from triage.logic.unary_text import text_of_test
from triage.rulebook.built_in_facts import VALUES_OF

Data: TypeAlias = dict[str, Any]
_Leaf: TypeAlias = Callable[[str, object], object | None]


def pruned(when: Data, left: _Leaf) -> Data | None:
    """The condition without the branches that can never hold; None where all of it cannot."""
    found: Data = {}
    for key, value in when.items():
        if key in ("any_of", "none_of"):
            branches = [branch for part in value if (branch := pruned(part, left)) is not None]
            if key == "any_of" and not branches:
                return None
            always = any(not branch for branch in branches)
            if key == "none_of" and always:
                return None
            if branches and not always:
                found[key] = branches
        elif key in ("known", "unknown"):
            kept = [fact for fact in value if left(fact, None) is not None]
            if key == "known" and len(kept) < len(value):
                return None
            if kept:
                found[key] = kept
        else:
            test = left(key, value)
            if test is None:
                return None
            if test != "-" or value == "-":
                found[key] = test
    return found


def left_of(kind: str, name: str, fact: str, test: object) -> object | None:
    """The test without the retired value, as it is where it does not name it; None: it never holds."""
    if kind == "facts":
        return None if fact == name else (test if test is not None else fact)
    if VALUES_OF.get(fact) != kind or test is None:
        return test if test is not None else fact
    try:
        read = parse(test, "choice")
    except UnaryTestError:
        return test
    shorter = _without(read, name)
    return None if shorter is None else test if shorter == read else text_of_test(shorter)


def _without(test: UnaryTest, value: str) -> UnaryTest | None:
    match test:
        case Compare("=", found):
            return None if found == value else test
        case OneOf(tests) | Not(tests):
            kept: Sequence[Any] = [one for one in tests if _without(one, value) is not None]
            if isinstance(test, Not):
                return Not(tuple(kept)) if kept else Anything()
            return None if not kept else kept[0] if len(kept) == 1 else OneOf(tuple(kept))
        case _:
            return test


def facts_of(when: Data, only_in: str | None = None) -> set[str]:
    """The facts that a `when` looks at; `only_in`: within its branches of `any_of` or `none_of` alone."""
    found: set[str] = set()
    for key, value in when.items():
        if key in ("any_of", "none_of"):
            inside = None if key == only_in else only_in
            found |= {fact for part in value for fact in facts_of(part, inside)}
        elif only_in is not None:
            continue
        elif key in ("known", "unknown"):
            found |= set(value)
        else:
            found.add(key)
    return found


def names(facts: Data, kind: str, name: str) -> bool:
    """Whether the facts of a rule's case name what is retired."""
    if kind == "facts":
        return name in facts
    values = [facts.get(fact) for fact, of in VALUES_OF.items() if of == kind]
    return any(value == name or (isinstance(value, list) and name in value) for value in values)
