"""How the book names things: links to what has an entry of its own, values and conditions in words.

Everything that people wrote is escaped, so that a `*` or `<` in a rule shows as it is.
"""

import re
from collections.abc import Callable, Iterable
from decimal import Decimal
from functools import partial
from typing import Any, TypeAlias

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
from triage.values.shown import N_

_COMPARED = {
    **{"<": N_("below {value}"), "<=": N_("at most {value}")},
    **{">": N_("above {value}"), ">=": N_("at least {value}")},
}
_BETWEEN = {
    (True, True): N_("from {low} up to {high}"),
    (True, False): N_("from {low} below {high}"),
    (False, True): N_("above {low} up to {high}"),
    (False, False): N_("above {low} below {high}"),
}
Say: TypeAlias = Callable[[str], str]
"""Gives a text of the program or of the rulebook in a reader's language; one it does not know as it is."""


def condition_words(
    condition: Condition,
    name: Callable[[str], str] = str,
    value: Callable[[str, Scalar], str] = lambda fact, scalar: plain_value(scalar),
    say: Say = str,
) -> str:
    """`filter_days above 30, and heat_source_near is yes or room_temp_f above 90`.

    `name` writes a fact, `value` a fact's value, `say` the words between them.
    """

    def inner(part: Condition) -> str:
        words = condition_words(part, name, value, say)
        return f"({words})" if isinstance(part, AllOf | AnyOf | NoneOf) else words

    match condition:
        case AllOf(()):
            return say(N_("always"))
        case AllOf(parts):
            return say(N_(", and ")).join(map(inner, parts))
        case AnyOf(parts):
            return say(N_(", or ")).join(map(inner, parts))
        case NoneOf(parts):
            return say(N_("none of: {parts}")).format(parts="; ".join(map(inner, parts)))
        case Known(fact):
            return say(N_("{fact} is known")).format(fact=name(fact))
        case Unknown(fact):
            return say(N_("{fact} is not known")).format(fact=name(fact))
        case FactTest(fact, test):
            return f"{name(fact)} {test_words(test, lambda scalar: value(fact, scalar), say)}"


def test_words(test: UnaryTest, value: Callable[[Scalar], str], say: Say = str) -> str:
    """`above 30`, `from 2 up to 6`, `is not a or b`."""
    match test:
        case Compare("=", wanted):
            return say(_IS).format(value=value(wanted))
        case Compare(operator, bound):
            return say(_COMPARED[operator]).format(value=value(bound))
        case Interval(low, high, low_closed, high_closed):
            return say(_BETWEEN[low_closed, high_closed]).format(low=value(low), high=value(high))
        case OneOf(tests) | Not(tests):
            named = [part.value for part in tests if isinstance(part, Compare) and part.operator == "="]
            is_not = isinstance(test, Not)
            if len(named) == len(tests):
                return say(_IS_NOT if is_not else _IS).format(value=_or(map(value, named), say))
            words = _or((test_words(part, value, say) for part in tests), say)
            return say(N_("not {value}")).format(value=words) if is_not else words
        case Anything():
            return say(N_("may be anything"))


_IS, _IS_NOT = N_("is {value}"), N_("is not {value}")


def plain_value(scalar: Scalar, say: Say = str) -> str:
    """A value without the marks of a test: yes, 15, cold, 2026-01-31."""
    match scalar:
        case bool():
            return say(N_("yes") if scalar else N_("no"))
        case "":
            return say(N_("empty"))
        case str():
            return scalar
        case _:
            return scalar_text(scalar).removeprefix("@").strip('"')


def _or(words: Iterable[str], say: Say) -> str:
    *before, last = words
    return say(N_("{some} or {last}")).format(some=", ".join(before), last=last) if before else last


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
    """Names as links `#kind-id`, for Markdown, said by `say`."""

    def __init__(self, rulebook: Rulebook, say: Say = str) -> None:
        self._rulebook, self.say = rulebook, say

    def text(self, words: str) -> str:
        return text(words)

    def link(self, kind: str, name: str) -> str:
        """The title of an entry, leading to it; what has no entry is named as it is."""
        thing = getattr(self._rulebook, kind).get(name)
        if thing is not None:
            return Markup(f"[{text(self.say(title_of(thing)))}](#{kind}-{name})")
        if kind == "facts":
            return code(name)
        return text(self.say(N_("Another cause")) if (kind, name) == ("causes", OTHER_CAUSE) else name)

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
            return self.text(f"“{self.say(known.choices[scalar])}”")
        unit = f" {known.unit}" if known is not None and known.unit else ""
        return self.text(plain_value(scalar, self.say) + unit)

    def values(self, fact: str, value: Scalar | frozenset[str]) -> str:
        """A fact's value in a case of a rule, which may be several."""
        if isinstance(value, frozenset):
            return Markup(", ").join(self.value(fact, each) for each in sorted(value))
        return self.value(fact, value)

    def said(self, texts: Iterable[str]) -> str:
        return ", ".join(map(self.say, texts))

    def plain(self, scalar: Scalar) -> str:
        """A value of no fact: a cell of a table, whether a case is heard."""
        return plain_value(scalar, self.say)

    def condition(self, condition: Condition) -> str:
        return Markup(condition_words(condition, partial(self.link, "facts"), self.value, self.say))

    def test(self, fact: str, test: UnaryTest | None) -> str:
        """A cell of a table."""
        return Markup("–" if test is None else test_words(test, partial(self.value, fact), self.say))

    def given(self, fact: str, value: object) -> str:
        """A fact's value in a whole-report case; a date is a text there."""
        if fact in self._rulebook.facts and isinstance(value, str | bool | Decimal):
            return self.value(fact, value)
        return self.text(self._shown(value))

    def expected(self, key: str, value: object) -> str:
        """What a whole-report case expects under `key`."""
        kind = {"top_cause": "causes", "first_check": "checks", "cautions": "cautions"}.get(key)
        names = [str(each) for each in value] if isinstance(value, list) else [self._shown(value)]
        if kind is None or names == []:
            return self.text(self._shown(value).replace("_", " "))
        return self.links(kind, names)

    def _shown(self, value: object) -> str:
        match value:
            case bool():
                return plain_value(value, self.say)
            case list():
                return ", ".join(map(self._shown, value)) or self.say(N_("none"))
            case _:
                return str(value)


class PlainNames(Names):
    """Titles in quotation marks, for plain text."""

    def text(self, words: str) -> str:
        return words

    def link(self, kind: str, name: str) -> str:
        thing = getattr(self._rulebook, kind).get(name)
        return name if thing is None else f"“{self.say(title_of(thing))}”"

    def lower(self, kind: str, name: str) -> str:
        """A title inside a sentence."""
        thing = getattr(self._rulebook, kind).get(name)
        return name if thing is None else self.say(title_of(thing)).lower()
