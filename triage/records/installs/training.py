"""Who was trained where, on what and when; who left, and what a store is to be trained on again."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Literal, TypeAlias

from triage.values.time_zones import zone_named

Standing: TypeAlias = Literal["due", "soon", "kept"]
SOON_DAYS = 30


@dataclass(frozen=True, slots=True)
class Training:
    """A person was trained at a store, at an installation or later. `left_on`: does not work there any more.

    A name that was erased is `ERASED`, and whose it was counts as somebody who left.
    """

    id: int
    site: str
    person: str
    topics: tuple[str, ...]
    at: datetime
    by: str
    signed: str
    noted_by: str
    install: str | None = None
    left_on: date | None = None


@dataclass(frozen=True, slots=True)
class StoreTraining:
    """`here` are trainings of people who work there, newest first; `left` those of people who do not.

    `missing` are topics on which nobody who works there was trained in time; the first of the others is to be
    trained again by `due_on`.
    """

    here: tuple[Training, ...] = ()
    left: tuple[Training, ...] = ()
    missing: tuple[str, ...] = ()
    due_on: date | None = None
    again: Mapping[int, date] = field(default_factory=dict)  # of a training -> the last day that it counts

    def standing(self, today: date) -> Standing:
        """`due` where a topic is missing, or nobody who works there was trained at all."""
        if self.missing or not self.here:
            return "due"
        ahead = self.due_on is not None and self.due_on <= today + timedelta(days=SOON_DAYS)
        return "soon" if ahead else "kept"

    def facts(self, today: date) -> dict[str, Decimal]:
        """`training_missing`, how many topics, and `training_due_days`, until the first is due again.

        Nothing of a store without any training on record: it is not known whether somebody was trained.
        """
        if not self.here and not self.left:
            return {}
        found = {"training_missing": Decimal(len(self.missing))}
        if self.due_on is not None:
            found["training_due_days"] = Decimal((self.due_on - today).days)
        return found


def store_training(
    trainings: Sequence[Training], topics: Collection[str], days: int, zone: str, today: date
) -> StoreTraining:
    """How a store stands on `today` of its calendar; a training counts `days` days."""
    newest = sorted(trainings, key=lambda one: (one.at, one.id), reverse=True)
    here = tuple(one for one in newest if one.left_on is None)
    again = {one.id: one.at.astimezone(zone_named(zone)).date() + timedelta(days=days) for one in newest}
    until = {
        topic: max((again[one.id] for one in here if topic in one.topics), default=date.min)
        for topic in topics
    }
    return StoreTraining(
        here,
        tuple(one for one in newest if one.left_on is not None),
        tuple(topic for topic, day in until.items() if day < today),
        min((day for day in until.values() if day >= today), default=None),
        again,
    )
