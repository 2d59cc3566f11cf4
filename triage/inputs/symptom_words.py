"""The caller's own words matched to the rulebook's symptoms, offline.

A symptom speaks through its title, the phrases of `callers_say`, and its lists of `words`. A phrase of a list
is said or not, and the more words it has the more it counts. A title or a line of `callers_say` scores the
share of its words that the caller used, with rare words counting more than common ones. It is a proposal: the
agent confirms.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from triage.inputs.phrases import Slot, WordLists, quoted
from triage.inputs.word_forms import said_words, word_set
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook

LEAST_SCORE = 0.55
MOST_LETTERS = 2000
SCORE_BY_SLOTS = (0.0, 0.8, 0.9, 0.97)
"""What a phrase of a list counts, by how many words it asks for; longer ones count as the last."""

_LITTLE = word_set(
    """
    a an and are as at be been but by can do does for from get gets got has have he her his i if in
    is it its just keeps like me my of on one or our out really she so some that the their them then there
    they this to up us very was we were what when will with you your machine im ive dont doesnt isnt
    """
)


@dataclass(frozen=True, slots=True)
class SymptomMatch:
    """`phrase` is what fitted best: the rulebook's wording or the caller's own; `score` lies in 0..1."""

    symptom: str
    phrase: str
    score: float


@dataclass(frozen=True, slots=True)
class _Line:
    """A title or a line of `callers_say`, and the slots of its words."""

    symptom: str
    text: str
    slots: tuple[Slot, ...]


@dataclass(frozen=True, slots=True)
class _Known:
    lines: tuple[_Line, ...]
    weights: Mapping[Slot, float]
    lists: WordLists
    last: frozenset[str]


def match_symptoms(rulebook: Rulebook, said: str, at_most: int = 5) -> tuple[SymptomMatch, ...]:
    """The symptoms that the words point to, best first; none when nothing fits well enough.

    A symptom that says nothing of the cause comes behind all others.
    """
    known = _known(rulebook)
    best: dict[str, SymptomMatch] = {}
    for match in _matches(known, said[:MOST_LETTERS]):
        if match.score >= LEAST_SCORE and match.score > getattr(best.get(match.symptom), "score", 0.0):
            best[match.symptom] = match
    by_score = sorted(best.values(), key=lambda match: (-match.score, match.symptom))
    return tuple(sorted(by_score, key=lambda match: match.symptom in known.last)[:at_most])


def _matches(known: _Known, text: str) -> Iterator[SymptomMatch]:
    words = said_words(text)
    places = known.lists.vocabulary.places(words)
    for line in known.lines:
        total = sum(known.weights[slot] for slot in line.slots)
        score = sum(known.weights[slot] for slot in line.slots if slot in places) / total
        yield SymptomMatch(line.symptom, line.text, score)
    for place in known.lists.said(words, places):
        if place.words.symptom is not None:
            start, end = quoted(words, place.at)
            score = SCORE_BY_SLOTS[min(len(place.at), len(SCORE_BY_SLOTS) - 1)]
            yield SymptomMatch(place.words.symptom, text[start:end], score)


@once_per_rulebook
def _known(rulebook: Rulebook) -> _Known:
    lines = [
        _Line(symptom.id, text, slots)
        for symptom in rulebook.symptoms.values()
        for text in (symptom.title, *symptom.callers_say)
        if (slots := _slots(text))
    ]
    uses: dict[Slot, set[str]] = {}
    for line in lines:
        for slot in line.slots:
            uses.setdefault(slot, set()).add(line.symptom)
    everything = len(rulebook.symptoms) + 1
    lists = [words for words in rulebook.words.values() if words.symptom is not None]
    return _Known(
        tuple(lines),
        {slot: math.log(everything / len(symptoms)) for slot, symptoms in uses.items()},
        WordLists(lists, uses),
        frozenset(symptom.id for symptom in rulebook.symptoms.values() if symptom.says_little),
    )


def _slots(text: str) -> tuple[Slot, ...]:
    words: Sequence[str] = [word.plain for word in said_words(text) if word.is_word]
    return tuple(dict.fromkeys(("en", word) for word in words if word not in _LITTLE))
