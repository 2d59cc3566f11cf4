"""Finds a machine by what a caller can read or say: serial, asset tag, store number, town or phone.

Every word of the query is looked for in the terms of all machines: as it stands, as a beginning, inside, and
last with typing errors (rapidfuzz). A machine scores the mean over the words; words that fit nothing cost it
their share, and a machine that fits less than half of them is left out.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from rapidfuzz import fuzz, process

WHOLE, BEGINNING, INSIDE, TYPO = 100.0, 95.0, 88.0, 0.85
NEAR_ENOUGH = 74  # of 100: one wrong sign in four
ONE_FIELD = 3.0  # for words that all fit one field
LEAST_INSIDE, LEAST_TYPO = 3, 4  # letters of a word before it is looked for inside, and with errors
MOST_QUERY, MOST_WORDS, MOST_TERMS = 80, 6, 400


@dataclass(frozen=True, slots=True)
class ListedMachine:
    """What the search knows of a machine. `site` is the store number; empty texts where nothing is known."""

    serial: str
    model: str
    asset_tag: str
    site: str
    site_name: str
    town: str
    phone: str


@dataclass(frozen=True, slots=True)
class MachineFound:
    """`score` lies in 0..103; `by` names what fitted: serial, asset tag, store, town or phone."""

    machine: ListedMachine
    score: float
    by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MachineIndex:
    """All machines, with their terms sorted; `owners` are machines (by place) and fields of each term."""

    machines: tuple[ListedMachine, ...]
    terms: tuple[str, ...]
    owners: tuple[tuple[tuple[int, str], ...], ...]


def index_machines(machines: Iterable[ListedMachine]) -> MachineIndex:
    """Made once for many searches: 20,000 machines take well under a second."""
    listed = tuple(machines)
    owners: dict[str, dict[tuple[int, str], None]] = {}
    terms_of = lru_cache(maxsize=None)(_terms)  # machines of one site share most of their texts
    for place, machine in enumerate(listed):
        for field, text in _fields(machine):
            for term in terms_of(field, text):
                owners.setdefault(term, {})[(place, field)] = None
    terms = tuple(sorted(owners))
    return MachineIndex(listed, terms, tuple(tuple(owners[term]) for term in terms))


def find_machines(index: MachineIndex, query: str, at_most: int = 12) -> tuple[MachineFound, ...]:
    """The machines that fit best, best first; empty for an empty query."""
    asked = query[:MOST_QUERY]
    words = [word for word in map(_folded, re.split(r"[\s,;]+", asked)) if word][:MOST_WORDS]
    if not words:
        return ()
    scores, fields = _sum_of_words(index, words)
    if len(words) > 1:  # "LH20 10001" and "555 0101" are one term each
        for place, (score, field) in _hits(index, _folded(asked)).items():
            if score > scores.get(place, 0.0):
                scores[place], fields[place] = score, [field]
    best = sorted(scores, key=lambda place: (-scores[place], index.machines[place].serial))[:at_most]
    return tuple(
        MachineFound(index.machines[place], scores[place], tuple(dict.fromkeys(fields[place])))
        for place in best
    )


def machines_named(index: MachineIndex, said: str, fields: Collection[str]) -> tuple[ListedMachine, ...]:
    """The machines one of whose `fields`, or a word or number of it, is exactly what was said."""
    word = _folded(said)
    at = bisect_left(index.terms, word)
    if not word or at == len(index.terms) or index.terms[at] != word:
        return ()
    places = dict.fromkeys(place for place, field in index.owners[at] if field in fields)
    return tuple(index.machines[place] for place in places)


def _sum_of_words(index: MachineIndex, words: Sequence[str]) -> tuple[dict[int, float], dict[int, list[str]]]:
    scores: dict[int, float] = {}
    fields: dict[int, list[str]] = {}
    for word in words:
        for place, (score, field) in _hits(index, word).items():
            scores[place] = scores.get(place, 0.0) + score / len(words)
            fields.setdefault(place, []).append(field)
    kept = {
        place: score + (ONE_FIELD if len(words) == len(fields[place]) and len({*fields[place]}) == 1 else 0)
        for place, score in scores.items()
        if len(fields[place]) * 2 >= len(words)
    }
    return kept, fields


def _hits(index: MachineIndex, word: str) -> dict[int, tuple[float, str]]:
    """The best score of each machine for one word, and the field it comes from."""
    found: dict[int, tuple[float, str]] = {}
    for at, score in _matching_terms(index.terms, word):
        for place, field in index.owners[at]:
            if score > found.get(place, (0.0, ""))[0]:
                found[place] = (score, field)
    return found


def _matching_terms(terms: Sequence[str], word: str) -> list[tuple[int, float]]:
    start = bisect_left(terms, word)
    hits = []
    for at in range(start, min(start + MOST_TERMS, len(terms))):
        if not terms[at].startswith(word):
            break
        hits.append((at, WHOLE if terms[at] == word else BEGINNING))
    if hits and hits[0][1] == WHOLE:
        return hits
    if len(word) >= LEAST_INSIDE:
        hits += [(at, INSIDE) for at, term in enumerate(terms) if word in term][:MOST_TERMS]
    if not hits and len(word) >= LEAST_TYPO:
        near = process.extract(
            word, terms, scorer=fuzz.ratio, processor=None, score_cutoff=NEAR_ENOUGH, limit=40
        )
        hits = [(at, score * TYPO) for _, score, at in near]
    return hits


def _fields(machine: ListedMachine) -> tuple[tuple[str, str], ...]:
    return (
        ("serial", machine.serial),
        ("asset tag", machine.asset_tag),
        ("store", machine.site),
        ("store", machine.site_name),
        ("town", machine.town),
        ("phone", machine.phone),
    )


def _terms(field: str, text: str) -> set[str]:
    """A field as one term, its words, and its bare numbers without leading zeros."""
    whole = _folded(text)
    parts = {_folded(part) for part in re.split(r"[\s\-/.]+", text)} if field != "phone" else set()
    bare = {part.lstrip("0") for part in parts if part.isdigit()}
    return {term for term in {whole, *parts, *bare} if term}


def _folded(text: str) -> str:
    return re.sub(r"[^\w]|_", "", text.casefold())
