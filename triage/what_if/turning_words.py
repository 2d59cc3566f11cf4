"""Turning points in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from triage.values.shown import shown
from triage.what_if.diff import OUTCOMES

Data = Mapping[str, Any]


def turning_words(turning: Data) -> Iterator[str]:
    """One sentence for each turning point."""
    for fact in turning["facts"]:
        unit = f" {fact['unit']}" if fact["unit"] else ""
        now = shown(fact["now"]) + (unit if fact["now"] is not None else "")
        ends = "; ".join(
            f"{shown(move['value'])}{unit if move['value'] is not None else ''}: {_outcome(move['outcome'])}"
            for move in fact["moves"]
        )
        yield f"{fact['title']} (now {now}): {ends}"
    for number in turning["numbers"]:
        yield (
            f"“{number['title']}” seen with {number['cause_title']} (now {float(number['now']):.2f}): "
            f"{float(number['turns_at']):.2f}: {_outcome(number['outcome'])}"
        )


def _outcome(outcome: str) -> str:
    return OUTCOMES.get(outcome, "solved in the store")
