"""The pieces of the rulebook as a document: headings that can be linked to, names as links, tables.

Everything that people wrote is escaped, so that a `*` or `<` in a rule shows as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from triage.logic.conditions import Condition, Scalar
from triage.rulebook.model import OTHER_CAUSE, Cause, Check, Rulebook, Symptom
from triage.rulebook.terms import LimitTable, WarrantyTerms
from triage.rulebook_care.book.wording import condition_words, plain_value

_MARKS = re.compile(r"([\\`*_{}\[\]<>#|~&])")


def text(words: str) -> str:
    """Words as Markdown shows them unchanged, on one line."""
    return _MARKS.sub(r"\\\1", " ".join(words.split()))


def heading(level: int, kind: str, name: str, title: str) -> str:
    """A heading with an anchor `kind-name`; ids are safe as they are."""
    return f'{"#" * level} <a id="{kind}-{name}"></a>{text(title)}'


def link(kind: str, name: str, title: str) -> str:
    return f"[{text(title)}](#{kind}-{name})"


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """A Markdown table; nothing where there are no rows."""
    lines = [f"| {' | '.join(row)} |" for row in rows]
    if lines:
        yield f"| {' | '.join(headings)} |"
        yield f"|{'|'.join('---' for _ in headings)}|"
        yield from lines
        yield ""


def fields(pairs: Iterable[tuple[str, str]]) -> Iterator[str]:
    """A list of `**name**: words`, without the empty ones."""
    lines = [f"- **{name}**: {words}" for name, words in pairs if words]
    if lines:
        yield from lines
        yield ""


Titled = TypeVar("Titled", Symptom, Cause, Check, LimitTable, WarrantyTerms)


@dataclass(frozen=True, slots=True)
class Names:
    """Links to everything that has a heading of its own."""

    rulebook: Rulebook

    def fact(self, name: str) -> str:
        fact = self.rulebook.facts.get(name)
        return f"`{name}`" if fact is None else f"[`{name}`](#fact-{name})"

    def cause(self, name: str) -> str:
        cause = self.rulebook.causes.get(name)
        if cause is None:
            return "Another cause" if name == OTHER_CAUSE else text(name)
        return link("cause", name, cause.title)

    def symptom(self, name: str) -> str:
        return link("symptom", name, self.rulebook.symptoms[name].title)

    def check(self, name: str) -> str:
        return link("check", name, self.rulebook.checks[name].title)

    def caution(self, name: str) -> str:
        return link("caution", name, self.rulebook.cautions[name].head.title)

    def value(self, fact: str, scalar: Scalar) -> str:
        """A value as people read it: the title of a choice, a link for a symptom or a cause."""
        if fact == "symptom" and scalar in self.rulebook.symptoms:
            return self.symptom(str(scalar))
        if fact == "top_cause" and scalar in self.rulebook.causes:
            return self.cause(str(scalar))
        known = self.rulebook.facts.get(fact)
        if known is not None and isinstance(scalar, str) and scalar in known.choices:
            return f"“{text(known.choices[scalar])}”"
        shown = text(plain_value(scalar))
        return f"{shown} {text(known.unit)}" if known is not None and known.unit else shown

    def condition(self, condition: Condition) -> str:
        return condition_words(condition, self.fact, self.value)


def by_title(things: Mapping[str, Titled]) -> list[Titled]:
    """In order of title, then of id."""
    return [thing for _, thing in sorted(things.items(), key=lambda item: (item[1].title, item[0]))]


def per_hundred(chance: float) -> str:
    """0.8 -> 80, as in “of 100 calls”."""
    return f"{chance * 100:g}"
