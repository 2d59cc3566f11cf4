"""A value in words, for people and in problems, and hints for misspelt words (rapidfuzz)."""

import re
from collections.abc import Collection, Iterable, Mapping
from decimal import Decimal

from rapidfuzz import fuzz, process

from triage.values.errors import Problem

_UNSEEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]|\r(?!\n)"
)
"""Control characters, signs that turn the direction of what follows, and halves of characters."""


def N_(text: str) -> str:
    """Marks a text for the catalogs that is looked up where it is said."""
    return text


def unseen_sign(text: str) -> str | None:
    """What is wrong with a text that holds a sign nobody can see or type; None when nothing is."""
    found = _UNSEEN.search(text)
    return None if found is None else f"a control character (U+{ord(found[0]):04X}) stands here; take it out"


def shown(value: object, empty: str = "nothing") -> str:
    """As people read it; `empty` is said of a list without members."""
    match value:
        case None:
            return "not known"
        case bool():
            return "yes" if value else "no"
        case list() | tuple():
            return ", ".join(shown(each, empty) for each in value) or empty
        case _:
            return str(value)


def quoted(value: object) -> str:
    """As it was written, for a message on what is wrong with it; long texts are cut."""
    match value:
        case None:
            return "nothing (null)"
        case bool():
            return str(value).lower()
        case str():
            return f'"{value[:60]}"'
        case int() | float() | Decimal():
            return str(value)[:60]
        case dict():
            return "a mapping"
        case list() | tuple():
            return "a list"
        case _:
            return str(value)[:60]


def percent(chance: float | Decimal, fine: bool = False) -> str:
    """A chance, 0..1, as `71 %`; `fine` gives a small one a decimal. Only what is certain is 0 % or 100 %."""
    number = float(chance) * 100
    said = f"{number:.1f} %" if fine and number < 9.95 else f"{number:.0f} %"
    if 0 < number < 100 and said in ("0 %", "0.0 %", "100 %"):
        return "over 99 %" if number > 50 else "under 1 %"
    return said


_NEAR_ENOUGH = 70  # of 100; a looser bound names words that have nothing to do with the one written


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like `word`, or None when none is near."""
    found = process.extractOne(word[:200], sorted(known), scorer=fuzz.ratio, score_cutoff=_NEAR_ENOUGH)
    return None if found is None else str(found[0])


def hint(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """`; did you mean "filter_days"?`, or `otherwise` when nothing is near."""
    near = nearest(word, known)
    return otherwise if near is None else f'; did you mean "{near}"?'


FEW = 9


def not_there(asked: Mapping[str, str], known: Mapping[str, Collection[str]]) -> list[Problem]:
    """Filters that ask for what there is not, among those of which is `known` what there is."""
    return [
        Problem(f'there is no {name} "{value[:60]}"{_allowed(value, known[name])}', f"query:{name}")
        for name, value in asked.items()
        if name in known and value not in known[name]
    ]


def _allowed(value: str, known: Collection[str]) -> str:
    return f"; there is {', '.join(known)}" if 0 < len(known) <= FEW else hint(value, known)
