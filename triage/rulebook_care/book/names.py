"""How the book names things: links to what has an entry of its own, values and conditions in words.

Everything that people wrote is escaped, so that a `*` or `<` in a rule shows as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from functools import partial
from typing import Any

from markupsafe import Markup

from triage.logic.conditions import Condition, Scalar, UnaryTest
from triage.rulebook.built_in_facts import VALUES_OF
from triage.rulebook.model import OTHER_CAUSE, Rulebook
from triage.rulebook_care.book.wording import condition_words, plain_value, test_words

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
