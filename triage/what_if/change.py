"""One thing that is other than before in a decision, and values in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

Part: TypeAlias = Literal[
    "outcome", "reasons", "cautions", "facts", "rules", "causes", "factors", "plan", "cost", "limit",
    "warranty", "visit", "keep_or_swap", "questions", "computed_facts", "notes",
]  # fmt: skip


UNMOVED = 1e-12
"""Chances nearer than this are the same."""


@dataclass(frozen=True, slots=True)
class Moved:
    """One thing that is other than before. `before` and `after` are JSON data, None where there is none.

    For rules they say whether the rule fires, for the plan they are the step's number; `factors` are those of
    a cause that changed.
    """

    part: Part
    id: str
    title: str
    before: Any
    after: Any
    words: str
    factors: tuple[Moved, ...] = ()

    def as_data(self) -> dict[str, Any]:
        data: dict[str, Any] = {
            "part": self.part,
            "id": self.id,
            "title": self.title,
            "before": self.before,
            "after": self.after,
            "words": self.words,
        }
        return (
            data if self.part != "causes" else {**data, "factors": [each.as_data() for each in self.factors]}
        )


def percent(chance: object) -> str:
    number = float(str(chance)) * 100
    return f"{number:.0f} %" if number >= 9.95 else f"{number:.1f} %"
