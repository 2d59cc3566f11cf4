"""Facts heard in the words of a call, besides dangers and symptoms: to be confirmed, never taken for granted.

A time is heard for the one fact whose title and question share a word with its clause that no other such fact
has: "filter cleaned two weeks ago". A choice is heard by its own words, two of them or one beside a word of
the fact's: "both sides", "a grinding noise". "Nobody knows about the filter" says that the fact is not known.
What is said in another language is heard by the questions and choices in that language.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from typing import Any

from triage.inputs.spoken import read_spoken
from triage.inputs.spoken_numbers import in_digits, in_english
from triage.inputs.word_forms import said_words, stem, word_set
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Fact, Rulebook
from triage.values.errors import InputError

MOST = 6
_CLAUSES = re.compile(r"[.;:,!?\n]+|\b(?:and|but|y|pero)\b")
_AGO = re.compile(
    r"\d+(?:\.\d+)? (?:minute|hour|day|week|month|year)s?\b(?: ago)?"
    r"|\b(?:yesterday|today|this morning|last (?:week|month|year))\b"
)
_NOBODY = re.compile(
    r"\b(?:nobody knows?|no idea|(?:do|does)n'?t know|not sure|no se sabe|nadie sabe|no sabe)\b"
)
_NO = word_set("no not never without nothing isnt arent dont doesnt didnt wasnt cant nunca sin nada")
_LITTLE = word_set(
    """
    a an the is are it its that this of in on at to for with and or what which how when where who does do did
    was were been last since days day minutes hours many much there any all out up now than
    ago long week weeks month months year years hour minute
    el la los las lo le les se su sus de del al en y o con por para que cual cuanto cuantos
    cuanta cuantas cuando donde como hay esta este estan es son fue era ha han hace desde ultima vez dia dias
    minutos hora horas semana semanas mes meses ano anos ya todo muy hoy ayer aqui
    """
)
_TIMES = ("d", "h", "min")


@dataclass(frozen=True, slots=True)
class HeardFact:
    """`value` as an answer's JSON data, None where nobody knows; `quote` is the clause it was heard in."""

    fact: str
    value: Any
    quote: str


def heard_facts(rulebook: Rulebook, text: str, today: date) -> tuple[HeardFact, ...]:
    """What the clauses of a text say, in order, each fact once; `today` is the store's own.

    It is heard in English, and in the Spanish of the rulebook.
    """
    found: dict[str, HeardFact] = {}
    for clause in _CLAUSES.split(text[:4000]):
        quote = clause.strip()
        for known in _known_facts(rulebook) if quote else ():
            for heard in _heard(rulebook, known, quote, today):
                found.setdefault(heard.fact, heard)
    return tuple(found.values())[:MOST]


def _heard(rulebook: Rulebook, known: KnownFacts, clause: str, today: date) -> Iterable[HeardFact]:
    words = _stems(clause, known.language)
    plain = clause.casefold().replace("’", "'")
    if _NOBODY.search(plain):
        fact = _named(known.words, known.uses, words)
        return () if fact is None else (HeardFact(fact, None, clause),)
    ago = _AGO.search(in_digits(in_english(plain)))
    if ago is not None:
        fact = _named(known.times, known.times_uses, words)
        with suppress(InputError):
            return () if fact is None else (_at(rulebook.facts[fact], ago[0], clause, today),)
        return ()
    if _NO & {word.plain for word in said_words(clause)}:
        return ()
    return [
        HeardFact(fact, choice, clause)
        for fact, choice, own in known.choices
        if own <= words and (len(own) > 1 or (known.words[fact] - own) & words)
    ]


def _at(fact: Fact, said: str, clause: str, today: date) -> HeardFact:
    return HeardFact(fact.id, read_spoken(fact, said, today), clause)


@dataclass(frozen=True, slots=True)
class KnownFacts:
    """The words by which the facts that a clerk is asked are named in one language, and how many use each."""

    language: str
    words: Mapping[str, frozenset[str]]
    uses: Counter[str]
    times: Mapping[str, frozenset[str]]
    times_uses: Counter[str]
    choices: tuple[tuple[str, str, frozenset[str]], ...]


@once_per_rulebook
def _known_facts(rulebook: Rulebook) -> tuple[KnownFacts, KnownFacts]:
    return _in_words(rulebook, "en", {}), _in_words(rulebook, "es", rulebook.spanish)


def _in_words(rulebook: Rulebook, language: str, told: Mapping[str, str]) -> KnownFacts:
    """`told` gives the questions and choices of the rulebook in the language; the rest is as it stands."""
    asked = [fact for fact in rulebook.facts.values() if fact.asked_of == "clerk" and not fact.danger]
    words = {fact.id: _stems(told.get(fact.ask or "", fact.ask or ""), language) for fact in asked}
    if language == "en":
        words = {fact.id: words[fact.id] | _stems(fact.title) for fact in asked}
    times = {fact.id: words[fact.id] for fact in asked if fact.unit in _TIMES}
    choices = [
        (fact.id, choice, own)
        for fact in asked
        for choice, title in fact.choices.items()
        if (own := _stems(told.get(title, title), language))
    ]
    return KnownFacts(language, words, _counted(words), times, _counted(times), tuple(choices))


def _counted(words: Mapping[str, frozenset[str]]) -> Counter[str]:
    return Counter(word for own in words.values() for word in own)


def _named(words: Mapping[str, frozenset[str]], uses: Counter[str], said: frozenset[str]) -> str | None:
    """The one fact that the words name best, by what few others are named by; None where two are level."""
    scores = Counter({fact: sum(1 / uses[word] for word in own & said) for fact, own in words.items()})
    (first, most), (_, second) = [*scores.most_common(2), ("", 0), ("", 0)][:2]
    return first if most >= 0.5 and most > second else None


def _stems(text: str, language: str = "en") -> frozenset[str]:
    words = (word.plain for word in said_words(text) if word.is_word)
    return frozenset(stem(word, language) for word in words if word not in _LITTLE)
