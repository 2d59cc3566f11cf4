"""What callers said of themselves and the trouble, taken out of an event to be kept apart.

In its place stands `ERASED`; put back, the event is as it was. Once the words are erased, it is what is read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, TypeAlias

ERASED = "[erased]"
Words: TypeAlias = list[list[Any]]
"""A text after the keys and indexes that lead to it, of each text that was taken out."""

_NAMES = frozenset({"caller", "phone", "note", "said", "quote", "quotes", "way_in"})
_WHERE: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "reported": (("report",),),
    "undone": (("report",),),
    "decided": (
        ("inputs", "report"),
        ("inputs", "dangers"),
        ("decision", "facts"),
        ("decision", "dangers"),
    ),
    **dict.fromkeys(("answered", "skipped", "noted", "detailed", "dispatched", "danger_lifted"), ((),)),
}
"""Kind of event -> where in it a caller is heard."""


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What callers said was erased from the events before, with so many photos."""

    kind: ClassVar[str] = "forgotten"
    why: str
    photos: int = 0


def apart(kind: str, data: Any) -> tuple[Any, Words]:
    """JSON data of an event without the caller's words, and these."""
    found: Words = []
    for place in _WHERE.get(kind, ()):
        at = data
        for step in place:
            at = at.get(step) if isinstance(at, Mapping) else None
        found += [[*place, *each] for each in _heard(at, False)]
    return (_put(data, [[*place, ERASED] for *place, _ in found]) if found else data), found


def together(data: Any, words: Words) -> Any:
    """The event as it was."""
    return _put(data, words)


def _heard(data: Any, words: bool) -> Iterator[list[Any]]:
    if isinstance(data, str):
        if words and data:
            yield [data]
    elif isinstance(data, Mapping):
        for key, value in data.items():
            yield from ([key, *rest] for rest in _heard(value, words or key in _NAMES))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from ([index, *rest] for rest in _heard(value, words))


def _put(data: Any, texts: Words) -> Any:
    """A copy with each text at its place; what holds none is shared with the original."""
    if not texts:
        return data
    if len(texts[0]) == 1:
        return texts[0][0]
    inner: dict[Any, Words] = {}
    for step, *rest in texts:
        inner.setdefault(step, []).append(rest)
    if isinstance(data, list):
        return [_put(each, inner.get(index, [])) for index, each in enumerate(data)]
    return {key: _put(value, inner[key]) if key in inner else value for key, value in data.items()}
