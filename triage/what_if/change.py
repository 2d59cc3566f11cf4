"""One change between two decisions, and values in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

Part: TypeAlias = Literal[
    "outcome", "reasons", "cautions", "facts", "rules", "causes", "factors", "plan", "cost", "limit",
    "warranty", "visit", "keep_or_swap", "questions", "computed_facts", "notes",
]  # fmt: skip


UNCHANGED = 1e-12
"""Chances nearer than this are the same."""


@dataclass(frozen=True, slots=True)
class DecisionChange:
    """One change between two decisions. `before` and `after` are JSON data, None where there is none.

    For rules they say whether the rule fires, for the plan they are the step's number; `factors` are those of
    a cause that changed.
    """

    part: Part
    id: str
    title: str
    before: Any
    after: Any
    words: str
    factors: tuple[DecisionChange, ...] = ()

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
