"""How the book names things: links to what has an entry of its own, values and conditions in words.

Everything that people wrote is escaped, so that a `*` or `<` in a rule shows as it is.
"""

import re
from collections.abc import Callable, Iterable
from decimal import Decimal
from functools import partial
from typing import Any

from markupsafe import Markup

from triage.logic.conditions import (
    AllOf,
    AnyOf,
    Anything,
    Compare,
    Condition,
    FactTest,
    Interval,
    Known,
    NoneOf,
    Not,
    OneOf,
    Scalar,
    UnaryTest,
    Unknown,
)
from triage.logic.unary_text import scalar_text
from triage.rulebook.built_in_facts import VALUES_OF
from triage.rulebook.model import OTHER_CAUSE, Rulebook

_COMPARED = {"<": "below", "<=": "at most", ">": "above", ">=": "at least"}


def condition_words(
    condition: Condition,
    name: Callable[[str], str] = str,
    value: Callable[[str, Scalar], str] = lambda fact, scalar: plain_value(scalar),
) -> str:
    """`filter_days above 30, and heat_source_near is yes or room_temp_f above 90`.

    `name` writes a fact, `value` a fact's value.
    """
    match condition:
        case AllOf(()):
            return "always"
        case AllOf(parts):
            return ", and ".join(_inner(part, name, value) for part in parts)
        case AnyOf(parts):
            return ", or ".join(_inner(part, name, value) for part in parts)
        case NoneOf(parts):
            return f"none of: {'; '.join(_inner(part, name, value) for part in parts)}"
        case Known(fact):
            return f"{name(fact)} is known"
        case Unknown(fact):
            return f"{name(fact)} is not known"
        case FactTest(fact, test):
            return f"{name(fact)} {test_words(test, lambda scalar: value(fact, scalar))}"


def _inner(part: Condition, name: Callable[[str], str], value: Callable[[str, Scalar], str]) -> str:
    words = condition_words(part, name, value)
    return f"({words})" if isinstance(part, AllOf | AnyOf | NoneOf) else words


def test_words(test: UnaryTest, value: Callable[[Scalar], str]) -> str:
    """`above 30`, `from 2 up to 6`, `is not a or b`."""
    match test:
        case Compare("=", wanted):
            return f"is {value(wanted)}"
        case Compare(operator, bound):
            return f"{_COMPARED[operator]} {value(bound)}"
        case Interval(low, high, low_closed, high_closed):
            start = "from" if low_closed else "above"
            end = "up to" if high_closed else "below"
            return f"{start} {value(low)} {end} {value(high)}"
        case OneOf(tests):
            if all(isinstance(part, Compare) and part.operator == "=" for part in tests):
                return f"is {_or([value(part.value) for part in tests if isinstance(part, Compare)])}"
            return _or([test_words(part, value) for part in tests])
        case Not(tests):
            if all(isinstance(part, Compare) and part.operator == "=" for part in tests):
                return f"is not {_or([value(part.value) for part in tests if isinstance(part, Compare)])}"
            return f"not {_or([test_words(part, value) for part in tests])}"
        case Anything():
            return "may be anything"


def plain_value(scalar: Scalar) -> str:
    """A value without the marks of a test: yes, 15, cold, 2026-01-31."""
    match scalar:
        case bool():
            return "yes" if scalar else "no"
        case "":
            return "empty"
        case str():
            return scalar
        case _:
            return scalar_text(scalar).removeprefix("@").strip('"')


def _or(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


_MARKS = re.compile(r"([\\`*_{}\[\]<>#|~&])")
_OPENING = re.compile(r"^(\d*)([-+=.)])(?=[\s=-]|$)")
"""What begins a list, a rule or an underlined heading, where a line begins with it."""
_PLAIN_NAME = re.compile(r"[\w.:-]+")


def text(words: object) -> Markup:
    """Words as Markdown shows them unchanged, on one line; what is Markdown already (`Markup`) stays so."""
    if isinstance(words, Markup):
        return words
    return Markup(_OPENING.sub(r"\1\\\2", _MARKS.sub(r"\\\1", " ".join(str(words).split()))))


def code(name: str) -> Markup:
    """A name in the type of code; one that has marks, as a number of a part may, as text."""
    return Markup(f"`{name}`") if _PLAIN_NAME.fullmatch(name) else text(name)


def id_of(thing: Any) -> str:
    """The id of a thing of the rulebook, which rules have in their heads."""
    return str(getattr(thing, "head", thing).id)


def title_of(thing: Any) -> str:
    return str(getattr(thing, "head", thing).title)


class Names:
    """Names as links `#kind-id`, for Markdown."""

    def __init__(self, rulebook: Rulebook) -> None:
        self._rulebook = rulebook

    def text(self, words: str) -> str:
        return text(words)

    def link(self, kind: str, name: str) -> str:
        """The title of an entry, leading to it; what has no entry is named as it is."""
        thing = getattr(self._rulebook, kind).get(name)
        if thing is not None:
            return Markup(f"[{text(title_of(thing))}](#{kind}-{name})")
        if kind == "facts":
            return code(name)
        return text("Another cause" if (kind, name) == ("causes", OTHER_CAUSE) else name)

    def links(self, kind: str, things: Iterable[Any]) -> str:
        """Links to things of one kind, or to ids."""
        return Markup(", ").join(
            self.link(kind, each if isinstance(each, str) else id_of(each)) for each in things
        )

    def value(self, fact: str, scalar: Scalar) -> str:
        """A value as people read it: the title of a choice, a link for a symptom or a cause."""
        kind = VALUES_OF.get(fact)
        if kind is not None and scalar in getattr(self._rulebook, kind):
            return self.link(kind, str(scalar))
        known = self._rulebook.facts.get(fact)
        if known is not None and isinstance(scalar, str) and scalar in known.choices:
            return self.text(f"“{known.choices[scalar]}”")
        unit = f" {known.unit}" if known is not None and known.unit else ""
        return self.text(plain_value(scalar) + unit)

    def values(self, fact: str, value: Scalar | frozenset[str]) -> str:
        """A fact's value in a case of a rule, which may be several."""
        if isinstance(value, frozenset):
            return Markup(", ").join(self.value(fact, each) for each in sorted(value))
        return self.value(fact, value)

    def condition(self, condition: Condition) -> str:
        return Markup(condition_words(condition, partial(self.link, "facts"), self.value))

    def test(self, fact: str, test: UnaryTest | None) -> str:
        """A cell of a table."""
        return Markup("–" if test is None else test_words(test, partial(self.value, fact)))

    def given(self, fact: str, value: object) -> str:
        """A fact's value in a whole-report case; a date is a text there."""
        if fact in self._rulebook.facts and isinstance(value, str | bool | Decimal):
            return self.value(fact, value)
        return self.text(_shown(value))

    def expected(self, key: str, value: object) -> str:
        """What a whole-report case expects under `key`."""
        kind = {"top_cause": "causes", "first_check": "checks", "cautions": "cautions"}.get(key)
        names = [str(each) for each in value] if isinstance(value, list) else [_shown(value)]
        if kind is None or names == []:
            return self.text(_shown(value).replace("_", " "))
        return self.links(kind, names)


class PlainNames(Names):
    """Titles in quotation marks, for plain text."""

    def text(self, words: str) -> str:
        return words

    def link(self, kind: str, name: str) -> str:
        thing = getattr(self._rulebook, kind).get(name)
        return name if thing is None else f"“{title_of(thing)}”"

    def lower(self, kind: str, name: str) -> str:
        """A title inside a sentence."""
        thing = getattr(self._rulebook, kind).get(name)
        return name if thing is None else title_of(thing).lower()


def _shown(value: object) -> str:
    match value:
        case bool():
            return "yes" if value else "no"
        case list():
            return ", ".join(map(_shown, value)) or "none"
        case _:
            return str(value)
