"""Dangers and symptoms heard in a caller's own words, by the rulebook's lists of `words`, in both languages.

A symptom speaks through its title, the phrases of `callers_say`, and its lists of `words`. A phrase of a list
is said or not, and the more words it has the more it counts. A title or a line of `callers_say` scores the
share of its words that the caller used, with rare words counting more than common ones. It is a proposal: the
agent confirms.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial

from triage.inputs.phrases import Slot, WordLists, quoted
from triage.inputs.word_forms import said_words, word_set
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook
from triage.rulebook.rule_cases import CaseFailure

MOST_LETTERS = 8000


@dataclass(frozen=True, slots=True)
class Heard:
    """`words` is the id of the list, `quote` the caller's words, [start, end) their place in the text."""

    words: str
    quote: str
    start: int
    end: int


def hear(rulebook: Rulebook, text: str) -> tuple[Heard, ...]:
    """What the lists of dangers hear in a text, in the order of the text: each place of each list once."""
    return _hearing(rulebook)(text) if text else ()


def run_words_cases(rulebook: Rulebook, file: str | None = None) -> list[CaseFailure]:
    """The cases of all lists, or of the one in this file, that come out otherwise than they say."""
    failures = []
    for words in sorted(rulebook.words.values(), key=lambda words: words.id):
        if file not in (None, words.file):
            continue
        alone = WordLists([words])
        for index, case in enumerate(words.cases):
            if bool(_hear(alone, case.said)) is not case.heard:
                wish = "be heard" if case.heard else "not be heard"
                message = f'case {index + 1}: "{case.said}" should {wish}'
                failures.append(CaseFailure(words.id, index, words.file, message))
    return failures


def _hear(lists: WordLists, text: str) -> tuple[Heard, ...]:
    words = said_words(text[:MOST_LETTERS])
    ranges: dict[str, list[tuple[int, int]]] = {}
    for place in lists.said(words, lists.vocabulary.places(words)):
        ranges.setdefault(place.words.id, []).append((place.at[0], place.at[-1]))
    found = [
        Heard(id_, text[start:end], start, end)
        for id_, each in ranges.items()
        for at in _apart(each)
        for start, end in [quoted(words, at)]
    ]
    return tuple(sorted(found, key=lambda heard: (heard.start, heard.words)))


def _apart(ranges: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """First and last indexes of the places that share no word, rising; those that do become one."""
    found: list[tuple[int, int]] = []
    for first, last in sorted(ranges):
        if found and first <= found[-1][1] + 1:
            found[-1] = (found[-1][0], max(last, found[-1][1]))
        else:
            found.append((first, last))
    return found


@once_per_rulebook
def _hearing(rulebook: Rulebook) -> Callable[[str], tuple[Heard, ...]]:
    """Remembers the texts heard last: a note is heard again with every answer that is given."""
    lists = WordLists(words for words in rulebook.words.values() if words.danger is not None)
    return lru_cache(maxsize=512)(partial(_hear, lists))


LEAST_SCORE = 0.55
MOST_OF_SYMPTOMS = 2000
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
    """`phrase` is what fitted best: the rulebook's wording or the caller's own; `score` lies in 0..1.

    `places` are [start, end) in the text of the words that were heard.
    """

    symptom: str
    phrase: str
    score: float
    places: tuple[tuple[int, int], ...]


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
    for match in _matches(known, said[:MOST_OF_SYMPTOMS]):
        if match.score >= LEAST_SCORE and match.score > getattr(best.get(match.symptom), "score", 0.0):
            best[match.symptom] = match
    by_score = sorted(best.values(), key=lambda match: (-match.score, match.symptom))
    return tuple(sorted(by_score, key=lambda match: match.symptom in known.last)[:at_most])


def _matches(known: _Known, text: str) -> Iterator[SymptomMatch]:
    words = said_words(text)
    places = known.lists.vocabulary.places(words)
    for line in known.lines:
        total = sum(known.weights[slot] for slot in line.slots)
        filled = [slot for slot in line.slots if slot in places]
        score = sum(known.weights[slot] for slot in filled) / total
        at = sorted({index for slot in filled for index in places[slot]})
        spans = tuple((words[index].start, words[index].end) for index in at)
        yield SymptomMatch(line.symptom, line.text, score, spans)
    for place in known.lists.said(words, places):
        if place.words.symptom is not None:
            start, end = quoted(words, place.at)
            score = SCORE_BY_SLOTS[min(len(place.at), len(SCORE_BY_SLOTS) - 1)]
            span = (words[place.at[0]].start, words[place.at[-1]].end)
            yield SymptomMatch(place.words.symptom, text[start:end], score, (span,))


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
