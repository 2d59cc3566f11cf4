"""Inputs made from ones that are let in: JSON is changed as a tree, all else as text."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Sequence
from random import Random
from typing import Any

ODD_TEXTS = (
    "", " ", "\0", "\ud800", "é", "💥", "\u2028", "\u202e", "\x1b[31m", "\x08", "\x0c", "x" * 5000,
    "../../x", "=1+1", '12" door', "<b>&amp;", "%00", "\r\nX: y", "[x](javascript:1)", "`|*_", "\\", '"',
    "NaN", "-0", "0E-300000000", "1e999999", "9" * 40, "1 yottayear", "0001-01-01", "9999-12-31T23:59:59Z",
    "2026-03-08T02:30:00-05:00", "24:00", "350.00 USD", "not(-)", "//[", "no", "null", "~", "- a", "? b",
)  # fmt: skip
ODD_VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 0.1, -0.0, 1e308, 2**63, 10**30, 10**400, [], {}, [[]], {"": None},
)  # fmt: skip
_NUMBER = re.compile(rb"-?\d+(\.\d+)?")
_ODD_NUMBERS = (
    b"0",
    b"-1",
    b"1e30",
    b"1e-30",
    b"0E-300000000",
    b"1e999999",
    b"9" * 40,
    b"0.5",
    b"007",
    b"60",
)


def mutated(
    data: bytes, random: Random, words: Sequence[bytes], most: int, still: Collection[str] = ()
) -> bytes:
    """`data` changed in one to eight places, at most `most` bytes of it.

    The members named in `still` are left alone, as is a line before the JSON, in most of them.
    """
    for _ in range(random.choice((1, 1, 1, 1, 2, 3, 8))):
        data = _changed(data, random, words, still if random.random() < 0.9 else ())
    return data[:most]


def _changed(data: bytes, random: Random, words: Sequence[bytes], still: Collection[str]) -> bytes:
    head, end, rest = data.partition(b"\n") if data[:1] not in (b"{", b"[") else (b"", b"", data)
    if rest[:1] in (b"{", b"[") and random.random() < 0.9:
        try:
            return head + end + json.dumps(_in_tree(json.loads(rest), random, words, still)).encode()
        except (ValueError, RecursionError):
            pass
    return _in_text(data, random, words)


def _in_tree(tree: Any, random: Random, words: Sequence[bytes], still: Collection[str]) -> Any:
    places = [place for place in _places(tree) if place[1] not in still]
    if not places:
        return _odd(random, words)
    holder, key = random.choice(places)
    match random.randrange(6):
        case 0:
            holder[key] = _odd(random, words)
        case 1 if isinstance(holder, dict):
            holder[_odd_text(random, words)] = holder.pop(key)
        case 1 | 2 if isinstance(holder, list):
            holder.insert(key, holder[random.randrange(len(holder))])
        case 3:
            del holder[key]
        case 4:
            other, its = random.choice(places)
            holder[key] = json.loads(json.dumps(other[its])) if its in _keys(other) else None
        case _ if isinstance(holder[key], str):
            written = holder[key].encode("utf-8", "replace")
            holder[key] = _in_text(written, random, words).decode("utf-8", "replace")
        case _:
            holder[key] = _odd(random, words)
    return tree


def _places(tree: Any) -> list[tuple[Any, Any]]:
    """Every place of the tree: its holder, and the key or index there."""
    found: list[tuple[Any, Any]] = []
    waiting = [tree]
    while waiting:
        holder = waiting.pop()
        for key in _keys(holder):
            found.append((holder, key))
            waiting.append(holder[key])
    return found


def _keys(holder: Any) -> list[Any]:
    if isinstance(holder, dict):
        return list(holder)
    return list(range(len(holder))) if isinstance(holder, list) else []


def _odd(random: Random, words: Sequence[bytes]) -> Any:
    if random.random() < 0.4:
        return random.choice(ODD_VALUES)
    return _odd_text(random, words)


def _odd_text(random: Random, words: Sequence[bytes]) -> str:
    if words and random.random() < 0.5:
        return random.choice(words).decode("utf-8", "replace")
    return random.choice(ODD_TEXTS)


def _in_text(data: bytes, random: Random, words: Sequence[bytes]) -> bytes:
    at = random.randrange(len(data) + 1)
    end = min(len(data), at + random.choice((1, 1, 2, 5, 20, 200)))
    match random.randrange(8):
        case 0 | 1:
            return data[:at] + _odd_text(random, words).encode("utf-8", "surrogatepass") + data[at:]
        case 2:
            return data[:at] + data[end:]
        case 3:
            return data[:end] + data[at:end] * random.choice((1, 1, 2, 10, 100)) + data[end:]
        case 4:
            numbers = list(_NUMBER.finditer(data))
            if numbers:
                found = random.choice(numbers)
                return data[: found.start()] + random.choice(_ODD_NUMBERS) + data[found.end() :]
            return data + random.choice(_ODD_NUMBERS)
        case 5:
            lines = data.split(b"\n")
            random.shuffle(lines) if len(lines) < 4 else lines.insert(
                random.randrange(len(lines)), lines.pop(random.randrange(len(lines)))
            )
            return b"\n".join(lines)
        case 6:
            return data[:at] + bytes([random.randrange(256)]) + data[at + 1 :]
        case _:
            return data[:at] + _odd_text(random, words).encode("utf-8", "surrogatepass") + data[end:]
