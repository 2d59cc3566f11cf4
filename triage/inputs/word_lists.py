"""Lists of phrases listened for in a text: what is said of them, is not denied, and is not excused.

A phrase is said when all its words stand near each other in one clause, in any order and in any form, and
none of them is denied by a word outside the phrase. A phrase of `unless`, said in its order only, takes back
what it shares a word with: "smoke" does not count in "smoke break". It takes back nothing where something
else is said beside it, "burnt sugar and plastic", nor what asks for all of its words and more.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from triage.inputs.negation import denied_by
from triage.inputs.phrases import Phrase, Slot, Vocabulary, in_order, near, phrases
from triage.inputs.word_forms import Said, word_set
from triage.rulebook.terms import Words

AROUND = 3
"""Words quoted on either side of a place."""

BESIDE = word_set("and plus near behind around y e cerca atras detras junto")
ALSO = word_set("but also pero tambien").union(BESIDE)
"""Between another word and what an `unless` excuses, or behind it, these leave the other word unexcused."""


@dataclass(frozen=True, slots=True)
class Place:
    """A phrase of a list said at these indexes of a text's words, rising."""

    words: Words
    phrase: Phrase
    at: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _List:
    words: Words
    heard: tuple[Phrase, ...]
    unless: tuple[Phrase, ...]


class WordLists:
    """Lists ready to be listened for, with the vocabulary of their phrases and of `more` slots."""

    def __init__(self, lists: Iterable[Words], more: Iterable[Slot] = ()) -> None:
        self._lists = [
            _List(
                words,
                phrases(words.en, "en") + phrases(words.es, "es"),
                phrases(words.unless, "en") + phrases(words.unless, "es"),
            )
            for words in lists
        ]
        listed = (phrase for each in self._lists for phrase in (*each.heard, *each.unless))
        self.vocabulary = Vocabulary((*more, *(slot for phrase in listed for slot in phrase.slots)))

    def said(self, words: Sequence[Said], places: Mapping[Slot, Sequence[int]]) -> Iterator[Place]:
        """Where phrases are said in a text whose words fill these slots, by list and phrase."""
        denied = denied_by(words)
        for each in self._lists:
            excuses: list[frozenset[int]] | None = None
            for phrase in each.heard:
                for place in near(phrase, places, words):
                    if any(not denied.get(index, frozenset()).issubset(place) for index in place):
                        continue
                    if excuses is None:
                        excuses = [
                            frozenset(taken)
                            for other in each.unless
                            for taken in in_order(other, places, words)
                        ]
                    if not any(_excused(words, place, excuse) for excuse in excuses):
                        yield Place(each.words, phrase, place)


def _excused(words: Sequence[Said], place: Sequence[int], excuse: frozenset[int]) -> bool:
    """Whether an `unless` takes a place back: it shares a word, and nothing of the place is beside it."""
    rest = excuse.symmetric_difference(place)
    if excuse.isdisjoint(place) or (rest and excuse.issubset(place)):
        return False
    low, high = min(excuse), max(excuse)
    return not any(
        word.plain in (BESIDE if index < low else ALSO)
        for index in place
        for word in (words[index + 1 : low] if index < low else words[high + 1 : index])
    )


def quoted(words: Sequence[Said], at: Sequence[int]) -> tuple[int, int]:
    """[start, end) in the text of what is said at these indexes and a little around, within one clause."""
    low, high = at[0], at[-1]
    while low > max(0, at[0] - AROUND) and words[low - 1].is_word:
        low -= 1
    while high < min(len(words) - 1, at[-1] + AROUND) and words[high + 1].is_word:
        high += 1
    return words[low].start, words[high].end
