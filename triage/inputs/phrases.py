"""Phrases of the rulebook looked up in a text: which of their words are said, and where.

A phrase is slots divided by spaces; `a|b` is a slot for either word, `=a` a word in this form only. The words
of all phrases are indexed once by their forms, and each word of a text is looked up once.

Lists of phrases listened for in a text: what is said of them, is not denied, and is not excused.

A phrase is said when all its words stand near each other in one clause, in any order and in any form, and
none of them is denied by a word outside the phrase. A phrase of `unless`, said in its order only, takes back
what it shares a word with: "smoke" does not count in "smoke break". It takes back nothing where something
else is said beside it, "burnt sugar and plastic", nor what asks for all of its words and more.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from triage.inputs.negation import denied_by
from triage.inputs.word_forms import (
    LANGUAGES,
    Said,
    in_a_dictionary,
    near_words,
    not_little,
    plain_letters,
    sound,
    stem,
    word_set,
)
from triage.rulebook.terms import Words

EXACT = "="
APART = 4
"""Words that may stand between those of a phrase, little ones not counted."""

LITTLE = word_set(
    """
    a an the my your his her our their this that is are it
    el la los las un una mi su de del le se al
    """
)
"""Words between those of a phrase that count as none."""

MOST_BETWEEN = 12
"""Words that may stand between two of a phrase when all are little."""

MOST_KNOWN = 20000
"""Words of texts whose meaning is remembered."""

Slot = tuple[str, str]
"""Language and words, as written."""


@dataclass(frozen=True, slots=True)
class Phrase:
    """`text` as the rulebook writes it."""

    text: str
    slots: tuple[Slot, ...]


def phrases(texts: Iterable[str], language: str) -> tuple[Phrase, ...]:
    """The phrases of one language, in order."""
    return tuple(Phrase(text, tuple((language, slot) for slot in text.split())) for text in texts)


def phrase_key(text: str, language: str) -> frozenset[frozenset[str]]:
    """The same for two phrases that hear the same: order, forms and accents aside."""
    return frozenset(frozenset(_form(word, language)[1] for word in slot.split("|")) for slot in text.split())


def phrase_start(text: str) -> frozenset[frozenset[str]]:
    """Alike for two phrases with the same `phrase_key`, and cheap: a word's forms begin with one letter."""
    return frozenset(
        frozenset(plain_letters(word.removeprefix(EXACT))[:1] for word in slot.split("|"))
        for slot in text.split()
    )


def _form(written: str, language: str) -> tuple[str, str]:
    word = plain_letters(written)
    return (EXACT, word) if written.startswith(EXACT) else (language, stem(word, language))


class Vocabulary:
    """The words of many phrases, by their forms. `slots_of` says which slots a word of a text fills."""

    def __init__(self, slots: Iterable[Slot]) -> None:
        self._by_form: dict[tuple[str, str], set[Slot]] = {}
        self._by_sound: dict[tuple[str, str], set[Slot]] = {}
        known: set[str] = set()
        self._known: dict[str, frozenset[Slot]] = {}
        for slot in set(slots):
            language, words = slot
            for written in words.split("|"):
                word = plain_letters(written)
                exact = written.startswith(EXACT)
                heard = sound(word, language)
                self._by_form.setdefault(_form(written, language), set()).add(slot)
                self._by_sound.setdefault(
                    (EXACT + language, heard) if exact else (language, stem(heard, language)), set()
                ).add(slot)
                known.add(word)
        self._words = tuple(sorted(known))

    def slots_of(self, word: str) -> frozenset[Slot]:
        """The slots that a word in plain letters fills: by its form, by its sound, or as a slip."""
        known = self._known.get(word)
        if known is None:
            known = frozenset(self._formed(word) | self._formed(not_little(word)) | self._misspelled(word))
            if len(self._known) < MOST_KNOWN:
                self._known[word] = known
        return known

    def places(self, words: Sequence[Said]) -> Mapping[Slot, Sequence[int]]:
        """Slot -> the indexes of the words that fill it, rising; slots not filled are missing."""
        found: dict[Slot, list[int]] = {}
        for index, word in enumerate(words):
            for slot in self.slots_of(word.plain) if word.is_word else ():
                found.setdefault(slot, []).append(index)
        return found

    def _formed(self, word: str) -> set[Slot]:
        found = set(self._by_form.get((EXACT, word), ()))
        return found.union(*(self._by_form.get((each, stem(word, each)), ()) for each in LANGUAGES))

    def _misspelled(self, word: str) -> set[Slot]:
        found = self._sounding(word)
        for other in near_words(word, self._words):
            found |= self._formed(other)
        return found if found and not in_a_dictionary(word) else set()

    def _sounding(self, word: str) -> set[Slot]:
        found: set[Slot] = set()
        for language in LANGUAGES:
            heard = sound(word, language)
            if len(heard) > 1:
                found |= self._by_sound.get((EXACT + language, heard), set())
                found |= self._by_sound.get((language, stem(heard, language)), set())
        return found


def near(
    phrase: Phrase, places: Mapping[Slot, Sequence[int]], words: Sequence[Said]
) -> Iterator[tuple[int, ...]]:
    """Where all slots of a phrase are filled near each other in one clause, in any order: indexes, rising."""
    slots = [places.get(slot, ()) for slot in phrase.slots]
    if not all(slots):
        return
    for first in slots[0]:
        chosen = [first]
        for others in slots[1:]:
            nearest = _nearest(others, chosen)
            if nearest is None:
                break
            chosen.append(nearest)
        if len(chosen) == len(slots):
            place = tuple(sorted(chosen))
            if all(_close(words, earlier, later) for earlier, later in pairwise(place)):
                yield place


def in_order(
    phrase: Phrase, places: Mapping[Slot, Sequence[int]], words: Sequence[Said]
) -> Iterator[tuple[int, ...]]:
    """Where all slots of a phrase are filled in its order, with little words between at most: indexes."""
    slots = [places.get(slot, ()) for slot in phrase.slots]
    if not all(slots):
        return
    for first in slots[0]:
        place = [first]
        for others in slots[1:]:
            after = bisect_right(others, place[-1])
            if after == len(others) or not _next(words, place[-1], others[after]):
                break
            place.append(others[after])
        if len(place) == len(slots):
            yield tuple(place)


def _nearest(others: Sequence[int], chosen: Sequence[int]) -> int | None:
    """The index nearest to one of those chosen, and none of them."""
    around = {
        others[index]
        for one in chosen
        for at in [bisect_left(others, one)]
        for index in range(max(0, at - len(chosen)), min(len(others), at + len(chosen) + 1))
    }
    free = sorted(around.difference(chosen))
    return min(free, key=lambda index: min(abs(index - one) for one in chosen)) if free else None


def _close(words: Sequence[Said], earlier: int, later: int) -> bool:
    """Whether few words stand between two, and no stop but commas."""
    between = words[earlier + 1 : later] if later - earlier <= MOST_BETWEEN else ()
    if not between:
        return later == earlier + 1
    if any(not word.is_word and word.plain != "," for word in between):
        return False
    return sum(word.is_word and word.plain not in LITTLE for word in between) <= APART


def _next(words: Sequence[Said], earlier: int, later: int) -> bool:
    """Whether nothing but a few little words stands between two."""
    if later - earlier > MOST_BETWEEN:
        return False
    return all(word.plain in LITTLE for word in words[earlier + 1 : later])


AROUND = 3
"""Words quoted on either side of a place."""

APART_FROM = word_set("and but plus also y e pero")
"""What stands beyond these is another matter: it is not quoted."""

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
    while low > max(0, at[0] - AROUND) and _goes_with(words[low - 1]):
        low -= 1
    while high < min(len(words) - 1, at[-1] + AROUND) and _goes_with(words[high + 1]):
        high += 1
    return words[low].start, words[high].end


def _goes_with(word: Said) -> bool:
    return word.is_word and word.plain not in APART_FROM
