"""What an installation takes, as the rulebook's `installation.yml` says: points to look at, and the kit."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias, get_args

from triage.logic.conditions import UnaryTest

Stage: TypeAlias = Literal["survey", "set_up", "hand_over"]
STAGES: tuple[Stage, ...] = get_args(Stage)
FieldType: TypeAlias = Literal["flag", "number", "choice", "text", "time", "hours", "zone"]

PLACES: Mapping[str, FieldType] = {
    "circuit/dedicated": "flag",
    "circuit/volts": "number",
    "circuit/amps": "number",
    "circuit/extension_cord": "flag",
    **{f"clearance/{side}_in": "number" for side in ("behind", "left", "right")},
    **{f"legs/{end}_{side}_in": "number" for end in ("front", "back") for side in ("left", "right")},
    "legs/depth_in": "number",
    "legs/width_in": "number",
    "slope_back_pct": "number",
    "slope_right_pct": "number",
    "shipping_bolt_removed": "flag",
    "seal/style": "choice",
    "seal/mounting": "choice",
    "water_test/before_first_fill": "flag",
    "water_test/leaked": "flag",
    "clock/right": "flag",
    "clock/timezone": "zone",
    "night_mode/start": "time",
    "night_mode/end": "time",
    **{f"opening/{day}": "hours" for day in ("mon", "tue", "wed", "thu", "fri", "sat", "sun")},
}
"""The lines of an installer's checklist that the program judges, and what is written in each."""

JUDGED = frozenset(
    {"circuit_dedicated", "circuit_volts", "circuit_amps", "extension_cord", "clearance_behind"}
    | {"clearance_sides", "level", "shipping_bolt", "seal", "water_test", "clock", "night_mode"}
    | {"night_mode_opening", "training"}
)
"""Points that the program judges by several lines; every other is judged by what is `wanted` of it."""


@dataclass(frozen=True, slots=True)
class Field:
    """One thing to write down. `place` is its line in the checklist; days that share one are after commas."""

    place: str
    ask: str
    type: FieldType = "flag"
    choices: Mapping[str, str] = field(default_factory=dict)

    def lines(self) -> tuple[str, ...]:
        """The lines that it fills: "opening/mon,tue" fills "opening/mon" and "opening/tue"."""
        head, slash, last = self.place.rpartition("/")
        return tuple(f"{head}{slash}{each}" for each in last.split(","))


@dataclass(frozen=True, slots=True)
class Point:
    """One point of an installation. One that `blocks` keeps the machine from going live until it passes; any
    other is to be put right within `days`. `same_as` names what of the machine's record is read back.
    """

    id: str
    title: str
    stage: Stage
    fields: tuple[Field, ...]
    fix: str
    wanted: UnaryTest | None = None
    same_as: Literal["serial", "asset_tag"] | None = None
    blocks: bool = True
    days: int = 14
    fact: str | None = None  # what is written down becomes this fact of the machine


@dataclass(frozen=True, slots=True)
class KitItem:
    """What must be in the boxes; of no `models`: for every one."""

    id: str
    title: str
    count: int = 1
    models: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Installation:
    points: Mapping[str, Point] = field(default_factory=dict)
    kit: Mapping[str, KitItem] = field(default_factory=dict)
    topics: Mapping[str, str] = field(default_factory=dict)  # what people are trained on: id -> title
    training_days: int = 365  # for which a training counts
    call_back_days: int = 3  # within which an installer comes back to an installation that failed
    least_photos: int = 0

    @property
    def texts(self) -> frozenset[str]:
        """The points that people answer in their own words: a name may be among them."""
        return frozenset(
            point.id
            for point in self.points.values()
            if point.same_as is None and any(field.type == "text" for field in point.fields)
        )

    def of_stage(self, stage: Stage) -> tuple[Point, ...]:
        return tuple(point for point in self.points.values() if point.stage == stage)

    def kit_of(self, model: str) -> tuple[KitItem, ...]:
        return tuple(item for item in self.kit.values() if not item.models or model in item.models)
