"""The parts of a stored decision that the program itself reads again; the JSON holds a good deal more.

A decision that was not made, an empty object, has none of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from triage.values.dataclass_json import key


@dataclass(frozen=True, slots=True)
class CauseRanked:
    cause: str
    chance: float


@dataclass(frozen=True, slots=True)
class Caution:
    rule: str
    stop_use: bool
    text: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """A check of the plan, how long until its result shows, and with which others it is done."""

    check: str
    wait_minutes: int
    group: int = 0  # 0: by itself


@dataclass(frozen=True, slots=True)
class VisitAsked:
    """The visit that is asked for. `kit` are part numbers, each as often as it is brought."""

    due: datetime
    priority: int | None = None
    skill: str = ""
    kit: tuple[str, ...] = ()
    by: str = "contractor"  # or electrician, installer, pest_control


@dataclass(frozen=True, slots=True)
class FactKnown:
    value: Any
    source: str = field(metadata=key("from"))


@dataclass(frozen=True, slots=True)
class Limit:
    authority: str | None = None
    authority_title: str | None = None


@dataclass(frozen=True, slots=True)
class Computed:
    after_hours: bool = False
    top_cause: str | None = None


@dataclass(frozen=True, slots=True)
class DecisionParts:
    outcome: str | None = None
    causes: tuple[CauseRanked, ...] = ()
    cautions: tuple[Caution, ...] = ()
    plan: tuple[Step, ...] = ()
    visit: VisitAsked | None = None
    priority: int | None = None
    skill: str | None = None
    facts: Mapping[str, FactKnown] = field(default_factory=dict)
    limit: Limit = Limit()
    computed_facts: Computed = Computed()
