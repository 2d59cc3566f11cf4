"""One thing that kept people safe and that a candidate rulebook takes away."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from triage.values.dataclass_json import as_data, from_data

MOST_TICKETS = 5
"""Tickets named for one loss."""


@dataclass(frozen=True, slots=True)
class Loss:
    """`edit` is the file whose change takes it away, `what` says in words what is lost.

    `decisions` counts the recorded decisions that show it, `tickets` names some of them: of a loss that is
    seen in the rulebook itself there are none.
    """

    edit: str
    what: str
    decisions: int = 0
    tickets: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """The same for the same loss, whoever finds it and whenever, such as "L-3f9c0a7be1"."""
        return f"L-{sha256(f'{self.edit}: {self.what}'.encode()).hexdigest()[:10]}"

    def __str__(self) -> str:
        return f"{self.id} {self.edit}: {self.what}{self.seen}"

    @property
    def seen(self) -> str:
        """Where it was seen, in words; empty where no recorded decision shows it."""
        if not self.decisions:
            return ""
        more = "" if self.decisions <= len(self.tickets) else " and others"
        count = "1 decision" if self.decisions == 1 else f"{self.decisions} decisions"
        return f" (in {count}: {', '.join(self.tickets)}{more})"

    def as_data(self) -> dict[str, Any]:
        return {"id": self.id, **as_data(self)}


def loss_from_data(data: Mapping[str, Any]) -> Loss:
    return from_data(Loss, data)


def by_edit(losses: Iterable[Loss]) -> Mapping[str, tuple[Loss, ...]]:
    """The losses of each edited file, by file."""
    found: dict[str, list[Loss]] = {}
    for loss in losses:
        found.setdefault(loss.edit, []).append(loss)
    return {edit: tuple(found[edit]) for edit in sorted(found)}
