"""Cautions that are read out one after another do not ask for what another of them forbids."""

from __future__ import annotations

import re
from itertools import permutations

from tests import RULES
from triage.rulebook.model import Caution
from triage.rulebook.reading.reader import read_rulebook

RULEBOOK = read_rulebook(RULES)
READ_OUT = [one for one in RULEBOOK.cautions.values() if not one.only_with_checks]

FORBIDS = {
    "touch": r"\bnot (?:to )?(?:touch (?:it|the machine|the plug|the cord|any switch)|unplug|grasp)",
    "throw away": r"\bkeep the product\b",
    "wipe": r"\bdo not (?:wipe|clean|discard)\b",
}
ASKS = {
    "touch": r"^(?:unplug|pull the plug|plug it|press|switch (?:it|the machine|both sides) off[.;]?$)",
    "throw away": r"^discard the product[.;]?$",
    "wipe": r"^(?:wipe|dry) (?:it|the machine|the outside)",
}
"""What a sentence asks for without a condition."""


def sentences(caution: Caution) -> list[str]:
    return [each.strip().casefold() for each in re.split(r"(?<=[.!?;])\s+", caution.text)]


def test_no_caution_that_stops_use_asks_for_what_another_forbids() -> None:
    stops = [one for one in READ_OUT if one.stop_use]
    assert len(stops) > 20
    found = [
        (one.head.id, sentence, other.head.id)
        for one, other in permutations(stops, 2)
        for what, asks in ASKS.items()
        if any(re.search(FORBIDS[what], said) for said in sentences(other))
        for sentence in sentences(one)
        if re.search(asks, sentence)
    ]
    assert found == []
