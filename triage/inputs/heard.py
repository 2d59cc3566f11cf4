"""The dangers heard in a caller's own words, by the rulebook's lists of `words`, in English and Spanish."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial

from triage.inputs.phrases import WordLists, quoted
from triage.inputs.word_forms import said_words
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
