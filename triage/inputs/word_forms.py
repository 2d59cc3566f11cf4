"""Words as people type them: accents, endings and slips aside, in English and Spanish.

Two words are the same when their stems are (Snowball, M. F. Porter, "Snowball: A language for stemming
algorithms", 2001, by the snowballstemmer package). A word that stands in no dictionary of either language may
be another one written as it sounds, or a slip: one edit is forgiven (two from eight letters on), neighbors
swapped counting as one. So "spoke" is not "smoke".
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from threading import Lock

import snowballstemmer
from rapidfuzz import process
from rapidfuzz.distance import OSA

LANGUAGES: Mapping[str, str] = {"en": "english", "es": "spanish"}
SHORTEST_SLIP = 4
"""Letters a word must have to be taken for another one misspelled."""

LONG = 8
_WITHIN = r"(?:[’'`](?=[^\W_])|[\u0300-\u036f])"  # an apostrophe within a word, an accent of its own
_TOKEN = re.compile(rf"(?P<word>[^\W_]+(?:{_WITHIN}+[^\W_]*)*)|[.;:!?\n]+|,")
_NO_LETTER = re.compile(r"[\W_]+")


def word_set(text: str) -> frozenset[str]:
    """The words of a text, as they are."""
    return frozenset(text.split())


_COMMON = word_set(
    """
    hace hacen haces hizo tiene tienen tienes viene vienen puede pueden quiere quieren dice dicen sigue siguen
    pone ponen sale salen nomas ahorita orita pos pus pa ta tan toy vamos vaya haya sea sean esten este tenia
    traen trae quiero tengo vengo pongo salgo digo creo veo hago voy mande manden oiga fijese mire
    limpiaron limpiamos limpiaban limpiando limpiado limpiada
    """
)
"""Everyday Spanish words that the dictionary lacks or that are said short."""

_QUITO = re.compile(r"(?<=\w{2})quit([oa]s?)$")
_ITO = re.compile(r"(?<=\w{3})it([oa]s?)$")

_SOUNDS: Mapping[str, tuple[tuple[re.Pattern[str], str], ...]] = {
    language: tuple((re.compile(pattern), sound) for pattern, sound in sounds)
    for language, sounds in {
        "en": [
            (r"^(?:gn|kn)", "n"),
            (r"^wr", "r"),
            (r"ph", "f"),
            (r"ck|c(?![eiyh])", "k"),
            (r"oa|ow(?=\w)", "o"),
            (r"(?<=\w{3})e$", ""),
            (r"(.)\1", r"\1"),
        ],
        "es": [
            (r"ch", "$"),
            (r"h", ""),
            (r"qu(?=[ei])", "k"),
            (r"(?<=\w{4})(?:it|ot|az)(?=[oa]s?$)", ""),  # a little one, a big one
            (r"gu(?=[ei])|g", "j"),
            (r"c(?=[ei])|z|x", "s"),
            (r"c", "k"),
            (r"ll|y", "i"),
            (r"v", "b"),
            (r"n(?=[bp])", "m"),
            (r"(.)\1", r"\1"),
        ],
    }.items()
}
"""Language -> what is written differently and said the same, in order."""


@dataclass(frozen=True, slots=True)
class Said:
    """One word of a text, [start, end), in plain letters; or a stop, `plain` being its sign."""

    start: int
    end: int
    plain: str
    is_word: bool
    accented: bool = False


def said_words(text: str) -> tuple[Said, ...]:
    """The words and stops of a text in order."""
    return tuple(
        Said(found.start(), found.end(), plain, found["word"] is not None, plain != found[0].casefold())
        for found in _TOKEN.finditer(text)
        for plain in [plain_letters(found[0]) if found["word"] else found[0]]
        if plain
    )


@lru_cache(maxsize=16384)
def plain_letters(word: str) -> str:
    """Lower case, without accents and apostrophes; ñ becomes n."""
    parts = unicodedata.normalize("NFKD", word.casefold())
    return _NO_LETTER.sub("", "".join(letter for letter in parts if not unicodedata.combining(letter)))


_STEMMING = Lock()


@lru_cache(maxsize=16384)
def stem(word: str, language: str) -> str:
    """The stem of a word in plain letters."""
    with _STEMMING:  # a stemmer keeps the word it is at in itself
        return str(_stemmer(language).stemWord(word))


@lru_cache(maxsize=16384)
def sound(word: str, language: str) -> str:
    """The word in plain letters as it sounds, so that "kemado" is "quemado" and "plastiquito" "plástico"."""
    for pattern, said in _SOUNDS[language]:
        word = pattern.sub(said, word)
    return word


def not_little(word: str) -> str:
    """A Spanish word in plain letters without its ending for a little one: "clavito" is "clavo"."""
    return _QUITO.sub(r"c\1", word) if _QUITO.search(word) else _ITO.sub(r"\1", word)


def near_words(word: str, known: Iterable[str]) -> tuple[str, ...]:
    """Those of the known words that a word may be a slip of; all in plain letters."""
    if len(word) < SHORTEST_SLIP:
        return ()
    found = process.extract(word, known, scorer=OSA.distance, score_cutoff=2, limit=None)  # type: ignore[arg-type]
    return tuple(
        other
        for other, edits, _ in found
        if len(other) >= SHORTEST_SLIP and (edits == 1 or (edits == 2 and len(other) >= LONG))
    )


@lru_cache(maxsize=16384)
def in_a_dictionary(word: str) -> bool:
    """Whether a word in plain letters is one of English or Spanish, in whatever form."""
    return word in _COMMON or any(word in words for each in LANGUAGES for words in _dictionary(each))


@cache
def _stemmer(language: str) -> snowballstemmer.Stemmer:
    return snowballstemmer.stemmer(LANGUAGES[language])


@cache
def _dictionary(language: str) -> tuple[Container[str], Container[str]]:
    """The words as they are written, and in plain letters those that are written with others."""
    from spellchecker import SpellChecker  # two megabytes of words, read when the first slip is looked at

    words = SpellChecker(language=language).word_frequency.dictionary
    odd = (word for word in words if not (word.isascii() and word.isalpha()))
    return words, frozenset(map(plain_letters, odd))
