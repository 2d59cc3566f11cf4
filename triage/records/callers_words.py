"""What callers said of themselves and the trouble, taken out of an event to be kept apart.

In its place stands `ERASED`; put back, the event is as it was. Once the words are erased, it is what is read.

So are the names, signatures and notes of people in the logs of care and of installations.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, TypeAlias

ERASED = "[erased]"
Words: TypeAlias = list[list[Any]]
"""A text after the keys and indexes that lead to it, of each text that was taken out."""

_NAMES = frozenset({"caller", "phone", "note", "said", "quote", "quotes", "way_in"})
_OF_INSTALL = frozenset({"note", "technician", "why"})
_OF_NOBODY = frozenset({"side", "photo"})
_ROLES = frozenset({"store", "installer", "technician", "contractor", "agent", "ops", "operator"})
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
        found += [[*place, *each] for each in _heard(at, False, _NAMES)]
    return _without(data, found), found


def care_apart(kind: str, by: str, details: Any, texts: Collection[str]) -> tuple[Any, Words]:
    """`[by, details]` of a line of the care log without people's words: names, signatures, notes.

    Of a checklist, who was trained, and the points of `texts`, which people answer in their own words.
    """
    data = [by, details]
    if kind == "commissioned":
        found = list(_heard(details, False, {"trained", "signed", "note", *texts}))
    else:
        found = [one for one in _heard(details, True, ()) if one[0] not in _OF_NOBODY]
    found = [[1, *one] for one in found]
    if by and by not in _ROLES:
        found.append([0, by])
    return _without(data, found), found


def install_apart(data: Any, texts: Collection[str]) -> tuple[Any, Words]:
    """The step of an installation without people's words; see `care_apart`."""
    found = list(_heard(data, False, {*_OF_INSTALL, *(f"points/{point}" for point in texts)}))
    return _without(data, found), found


def without_name(words: Words, name: str) -> Words:
    """What is left once every text goes that holds the name, however its letters are cased."""
    said = re.compile(rf"(?<!\w){re.escape(name)}(?!\w)", re.IGNORECASE)
    return [each for each in words if not said.search(each[-1])]


def together(data: Any, words: Words) -> Any:
    """The event as it was."""
    return _put(data, words)


def _without(data: Any, found: Words) -> Any:
    return _put(data, [[*place, ERASED] for *place, _ in found])


def _heard(data: Any, words: bool, names: Collection[str]) -> Iterator[list[Any]]:
    if isinstance(data, str):
        if words and data:
            yield [data]
    elif isinstance(data, Mapping):
        for key, value in data.items():
            yield from ([key, *rest] for rest in _heard(value, words or key in names, names))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from ([index, *rest] for rest in _heard(value, words, names))


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
