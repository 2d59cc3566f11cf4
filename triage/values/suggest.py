"""A hint for a misspelt word: the nearest of the words that are known (rapidfuzz)."""

from __future__ import annotations

from collections.abc import Iterable

from rapidfuzz import fuzz, process

_NEAR_ENOUGH = 70  # of 100; a looser bound names words that have nothing to do with the one written


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like `word`, or None when none is near."""
    found = process.extractOne(word[:200], sorted(known), scorer=fuzz.ratio, score_cutoff=_NEAR_ENOUGH)
    return None if found is None else str(found[0])


def hint(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """`; did you mean "filter_days"?`, or `otherwise` when nothing is near."""
    near = nearest(word, known)
    return otherwise if near is None else f'; did you mean "{near}"?'
