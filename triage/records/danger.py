"""Dangers as a state: what stands open on a ticket and its machine, and what has been lifted.

No answer lowers a danger. It is lifted by an act of its own: the words in which it was heard were misread,
or somebody made the machine safe.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, TypeAlias, cast, get_args

DangerSource: TypeAlias = Literal["caller", "words", "record", "derived", "technician"]
Lifting: TypeAlias = Literal["misread", "safe"]
LIFTINGS: tuple[Lifting, ...] = get_args(Lifting)


@dataclass(frozen=True, slots=True)
class Danger:
    """A danger that stands open: the caution that guards against it, what raised it, when, and where.

    `quote` are the words in which it was heard; `ticket` the other ticket it was raised on, None for the one
    at hand. `since` is timezone-aware.
    """

    caution: str
    source: DangerSource
    since: datetime
    quote: str | None = None
    ticket: str | None = None

    def as_data(self) -> dict[str, Any]:
        """The contract's JSON."""
        return {
            "caution": self.caution,
            "from": self.source,
            "quote": self.quote,
            "since": self.since.isoformat(),
            "ticket": self.ticket,
        }


@dataclass(frozen=True, slots=True)
class DangerState:
    """What a decision knows of dangers besides its report.

    `said` are answers in the caller's words, heard for dangers as the note is. `open` were raised before on
    this ticket, `elsewhere` stand open on the machine's other tickets. `safe` are cautions whose danger was
    made safe with nothing to raise it since; `misread` those for which words were misread.
    """

    said: tuple[str, ...] = ()
    open: tuple[Danger, ...] = ()
    elsewhere: tuple[Danger, ...] = ()
    safe: frozenset[str] = frozenset()
    misread: frozenset[str] = frozenset()

    def as_data(self) -> dict[str, Any]:
        """JSON data; what is empty is left out."""
        data: dict[str, Any] = {
            "said": list(self.said),
            "open": [danger.as_data() for danger in self.open],
            "elsewhere": [danger.as_data() for danger in self.elsewhere],
            "safe": sorted(self.safe),
            "misread": sorted(self.misread),
        }
        return {name: value for name, value in data.items() if value}


CALM = DangerState()
"""Nothing is known of any danger."""


def danger_from_data(data: Mapping[str, Any]) -> Danger:
    """A danger again from its JSON."""
    return Danger(
        data["caution"],
        cast(DangerSource, data["from"]),
        datetime.fromisoformat(data["since"]),
        data["quote"],
        data["ticket"],
    )


def state_from_data(data: Mapping[str, Any]) -> DangerState:
    """The state again from its JSON data."""
    return DangerState(
        tuple(data.get("said", ())),
        tuple(map(danger_from_data, data.get("open", ()))),
        tuple(map(danger_from_data, data.get("elsewhere", ()))),
        frozenset(data.get("safe", ())),
        frozenset(data.get("misread", ())),
    )
