"""Numbers in words and fractions as numbers: "two and a half" is 2.5, "½" is 0.5, "a dozen" is 12."""

from __future__ import annotations

import re
from decimal import Decimal

_ONES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen"
)
_WORDS = {word: number for number, word in enumerate(f"{_ONES} seventeen eighteen nineteen".split())}
_WORDS |= {
    word: (number + 2) * 10 for number, word in enumerate(["twenty", "thirty", "forty", "fifty", "sixty"])
}
_TENS = "|".join(word for word, number in _WORDS.items() if number >= 20)
_SINGLE = "|".join(word for word, number in _WORDS.items() if 1 <= number <= 9)
_ANY = "|".join(sorted(_WORDS, key=len, reverse=True))
_SIGNS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3"}
_FIXED = (
    (r"\b(?:a )?couple(?: of)?\b", "2"),
    (r"\b(?:half a|a half|half an)\b", "0.5"),
    (r"\ba quarter(?: of an?)?\b", "0.25"),
    (r"\bthree quarters(?: of an?)?\b", "0.75"),
    (r"\b(?:a|one) dozen\b", "12"),
    (r"\bhalf\b", "0.5"),
)


def in_digits(text: str) -> str:
    """`text` (lower case) with every number in numbers. What is no number stays as it is."""
    for sign, written in _SIGNS.items():
        text = text.replace(sign, f" {written}")
    text = re.sub(rf"\b({_ANY}|\d+|an?)( \w+)? and a half\b", _and_a_half, text)
    for pattern, number in _FIXED:
        text = re.sub(pattern, number, text)
    text = re.sub(rf"\b({_TENS})[ -]({_SINGLE})\b", lambda m: str(_WORDS[m[1]] + _WORDS[m[2]]), text)
    text = re.sub(rf"\b({_ANY})\b", lambda m: str(_WORDS[m[1]]), text)
    text = re.sub(r"\b(?:(\d{1,9}) +)?(\d{1,9})/([1-9]\d?)\b", _fraction, text)
    text = re.sub(r"\ban? (?=[a-z])", "1 ", text)
    return " ".join(text.split())


def _and_a_half(match: re.Match[str]) -> str:
    """ "two and a half hours", "an hour and a half"."""
    word = match[1]
    whole = 1 if word in ("a", "an") else _WORDS[word] if word in _WORDS else int(word)
    return f"{whole}.5{match[2] or ''}"


def _fraction(match: re.Match[str]) -> str:
    number = Decimal(match[1] or 0) + Decimal(match[2]) / Decimal(match[3])
    return f"{number.quantize(Decimal('0.0001')).normalize():f}"
