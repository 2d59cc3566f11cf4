"""An installer's checklist as data: read strictly, every problem with its JSON pointer.

Every line may be left out; what is missing stays None and is reported as missing, never as passed. A line
that is there must be of its type: no "yes" for true, no "6 in" for 6, no unknown keys.

    {"machine": "LH20-10001", "at": "2026-03-02T10:00:00-05:00",
     "circuit": {"dedicated": true, "volts": 119.5, "amps": 20, "extension_cord": false},
     "clearance": {"behind_in": 6, "left_in": 3, "right_in": 3},
     "legs": {"front_left_in": 4, "front_right_in": 4, "back_left_in": 4.1, "back_right_in": 4.1,
              "depth_in": 18, "width_in": 14},
     "slope_back_pct": -0.5,
     "shipping_bolt_removed": true,
     "seal": {"style": "grooved", "mounting": "hopper"},
     "water_test": {"before_first_fill": true, "leaked": false},
     "clock": {"right": true, "timezone": "America/New_York"},
     "opening": {"mon": ["05:30", "23:00"], "sat": ["07:00", "01:00"]},
     "night_mode": {"start": "01:00", "end": "05:30"},
     "trained": ["opening shift", "store lead"]}
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime, time
from decimal import Decimal
from typing import Annotated, Literal, TypeAlias, get_type_hints

from pydantic import BeforeValidator, ConfigDict, Field, Strict, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass
from pydantic_core import ErrorDetails, PydanticCustomError

from triage.schedule.service_hours import WEEKDAYS, minutes_of_day
from triage.values.errors import InputError, Problem
from triage.values.suggest import hint
from triage.values.time_zones import aware, zone_named

_STRICT = ConfigDict(extra="forbid")


def _number(raw: object) -> Decimal:
    """JSON numbers come as int, float or Decimal; a float is taken at its shortest decimal form."""
    if isinstance(raw, bool) or not isinstance(raw, int | float | Decimal) or not math.isfinite(raw):
        raise PydanticCustomError("number", "write a number such as 6 or 4.5, without quotes")
    return Decimal(repr(raw)) if isinstance(raw, float) else Decimal(raw)


def _time(raw: object) -> time:
    try:
        minutes = minutes_of_day(raw) if isinstance(raw, str) else 24 * 60
    except InputError:
        minutes = 24 * 60
    if minutes == 24 * 60:
        raise PydanticCustomError("time_of_day", 'write a time of day from "00:00" to "23:59"')
    return time(*divmod(minutes, 60))


def _weekday(raw: object) -> str:
    if raw not in WEEKDAYS:
        raise PydanticCustomError("weekday", f"days are {', '.join(WEEKDAYS)}")
    return str(raw)


def _day_hours(raw: object) -> tuple[str, str]:
    try:
        opens, closes = raw if isinstance(raw, list | tuple) else ()
        if isinstance(opens, str) and isinstance(closes, str):
            minutes_of_day(opens), minutes_of_day(closes)
            return opens, closes
    except (ValueError, InputError):
        pass
    raise PydanticCustomError("day_hours", 'write opening and closing time such as ["05:30", "23:00"]')


def _moment(raw: object) -> datetime:
    try:
        return aware(datetime.fromisoformat(raw)) if isinstance(raw, str) else aware(_as_datetime(raw))
    except (ValueError, InputError):
        raise PydanticCustomError(
            "moment", 'write a time with its offset such as "2026-03-02T10:00:00-05:00"'
        ) from None


def _as_datetime(raw: object) -> datetime:
    if isinstance(raw, datetime):
        return raw
    raise ValueError


def _zone(raw: object) -> str:
    try:
        return zone_named(str(raw) if isinstance(raw, str) else "").key
    except InputError:
        raise PydanticCustomError("zone", 'write an IANA name such as "America/New_York"') from None


Flag: TypeAlias = Annotated[bool, Strict()]
Inches: TypeAlias = Annotated[Decimal, BeforeValidator(_number), Field(ge=0, le=120)]
LegInches: TypeAlias = Annotated[Decimal, BeforeValidator(_number), Field(ge=0, le=12)]
SpanInches: TypeAlias = Annotated[Decimal, BeforeValidator(_number), Field(ge=4, le=60)]
Volts: TypeAlias = Annotated[Decimal, BeforeValidator(_number), Field(ge=0, le=600)]
Amps: TypeAlias = Annotated[Decimal, BeforeValidator(_number), Field(gt=0, le=400)]
Percent: TypeAlias = Annotated[Decimal, BeforeValidator(_number), Field(ge=-100, le=100)]
TimeOfDay: TypeAlias = Annotated[time, BeforeValidator(_time)]
Moment: TypeAlias = Annotated[datetime, BeforeValidator(_moment)]
Weekday: TypeAlias = Annotated[str, BeforeValidator(_weekday)]
DayHours: TypeAlias = Annotated[tuple[str, str], BeforeValidator(_day_hours)]
Zone: TypeAlias = Annotated[str, BeforeValidator(_zone)]
Words: TypeAlias = Annotated[str, Strict(), Field(min_length=1, max_length=200, pattern=r"\S")]


@dataclass(frozen=True, slots=True, config=_STRICT)
class Circuit:
    """`volts` as measured at the outlet, `amps` as on the breaker; `extension_cord` includes power strips."""

    dedicated: Flag | None = None
    volts: Volts | None = None
    amps: Amps | None = None
    extension_cord: Flag | None = None


@dataclass(frozen=True, slots=True, config=_STRICT)
class Clearance:
    behind_in: Inches | None = None
    left_in: Inches | None = None
    right_in: Inches | None = None


@dataclass(frozen=True, slots=True, config=_STRICT)
class Legs:
    """Heights of the four corners above a level line; distances between the legs where they were measured."""

    front_left_in: LegInches
    front_right_in: LegInches
    back_left_in: LegInches
    back_right_in: LegInches
    depth_in: SpanInches | None = None
    width_in: SpanInches | None = None


@dataclass(frozen=True, slots=True, config=_STRICT)
class Seal:
    style: Literal["grooved", "flat"] | None = None
    mounting: Literal["hopper", "machine"] | None = None


@dataclass(frozen=True, slots=True, config=_STRICT)
class WaterTest:
    """The run with water: before the first fill with mix, and whether water showed where it should not."""

    before_first_fill: Flag | None = None
    leaked: Flag | None = None


@dataclass(frozen=True, slots=True, config=_STRICT)
class Clock:
    right: Flag | None = None
    timezone: Zone | None = None


@dataclass(frozen=True, slots=True, config=_STRICT)
class NightMode:
    start: TimeOfDay
    end: TimeOfDay


@dataclass(frozen=True, slots=True, config=_STRICT)
class Checklist:
    """What the installer wrote down; None where a line was left out. `trained` names roles or people.

    `opening` are the store's hours by weekday; a day not named is closed, and a closing time at or before the
    opening time lies on the next day.
    """

    machine: Words | None = None
    at: Moment | None = None
    circuit: Circuit = Field(default_factory=Circuit)
    clearance: Clearance = Field(default_factory=Clearance)
    legs: Legs | None = None
    slope_back_pct: Percent | None = None
    shipping_bolt_removed: Flag | None = None
    seal: Seal = Field(default_factory=Seal)
    water_test: WaterTest = Field(default_factory=WaterTest)
    clock: Clock = Field(default_factory=Clock)
    opening: Annotated[dict[Weekday, DayHours], Field(min_length=1)] | None = None
    night_mode: NightMode | None = None
    trained: Annotated[tuple[Words, ...], Field(max_length=100)] | None = None


_PARTS: Mapping[str, type] = {
    "circuit": Circuit,
    "clearance": Clearance,
    "legs": Legs,
    "seal": Seal,
    "water_test": WaterTest,
    "clock": Clock,
    "night_mode": NightMode,
}
_ADAPTER = TypeAdapter(Checklist)


def read_checklist(data: object) -> Checklist:
    """The checklist of JSON data. InputError lists every problem, each with its JSON pointer."""
    if not isinstance(data, Mapping):
        raise InputError([Problem('a checklist is a JSON object such as {"circuit": {…}}', "")])
    try:
        return _ADAPTER.validate_python(dict(data))
    except ValidationError as error:
        problems = [_problem(one) for one in error.errors(include_url=False)]
    raise InputError(problems)


def _problem(error: ErrorDetails) -> Problem:
    path = [str(part) for part in error["loc"] if part != "[key]"]
    pointer = "".join("/" + part.replace("~", "~0").replace("/", "~1") for part in path)
    return Problem(_message(error, path), pointer)


def _message(error: ErrorDetails, path: list[str]) -> str:
    given = error.get("ctx", {})
    match error["type"]:
        case "unexpected_keyword_argument":
            shape = _PARTS.get(path[0], Checklist) if len(path) > 1 else Checklist
            known = get_type_hints(shape)
            wanted = f"; the keys here are {', '.join(known)}"
            return f'the key "{path[-1]}" is not known{hint(path[-1], known, wanted)}'
        case "missing":
            return f'the key "{path[-1]}" is missing; give it, or leave "{path[0]}" out whole'
        case "bool_type":
            return "write true or false, without quotes"
        case "literal_error":
            return f"write {given['expected']}"
        case "dict_type":
            return 'write an object such as {"mon": ["05:30", "23:00"]}'
        case "greater_than_equal":
            return f"the number must be at least {given['ge']}"
        case "less_than_equal":
            return f"the number must be at most {given['le']}"
        case "greater_than":
            return f"the number must be more than {given['gt']}"
        case "dataclass_type" | "dataclass_exact_type":
            return "write an object of named values"
        case "tuple_type":
            return 'write a list of texts such as ["store lead"]'
        case "string_type" | "string_too_short" | "string_pattern_mismatch":
            return "write a text that is not empty"
        case _:
            return error["msg"]
