"""Turning points in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from triage.rulebook.fixed_words import title_of
from triage.values.shown import shown

Data = Mapping[str, Any]


def turning_words(turning: Data) -> Iterator[str]:
    """One sentence for each turning point."""
    for fact in turning["facts"]:
        unit = f" {fact['unit']}" if fact["unit"] else ""
        now = shown(fact["now"]) + (unit if fact["now"] is not None else "")
        ends = "; ".join(
            f"{shown(end['value'])}{unit if end['value'] is not None else ''}: {title_of(end['outcome'])}"
            for end in fact["changes"]
        )
        yield f"{fact['title']} (now {now}): {ends}"
    for number in turning["numbers"]:
        yield (
            f"“{number['title']}” seen with {number['cause_title']} (now {float(number['now']):.2f}): "
            f"{float(number['turns_at']):.2f}: {title_of(number['outcome'])}"
        )
