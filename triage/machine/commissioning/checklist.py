"""An installer's checklist as data: read strictly, every problem with its JSON pointer.

Every line may be left out; what is missing stays None and is reported as missing, never as passed. A line
that is there must be of its type: no "yes" for true, no "6 in" for 6, no unknown keys.

    {"machine": "LH20-10001", "at": "2026-03-02T10:00:00-05:00",
     "circuit": {"dedicated": true, "volts": 119.5, "amps": 20, "extension_cord": false},
     "clearance": {"behind_in": 6, "left_in": 3, "right_in": 3},
     "legs": {"front_left_in": 4, "front_right_in": 4, "back_left_in": 4.1, "back_right_in": 4.1,
              "depth_in": 18, "width_in": 14},
     "slope_back_pct": -0.5, "slope_right_pct": 0.2,
     "shipping_bolt_removed": true,
     "seal": {"style": "grooved", "mounting": "hopper"},
     "water_test": {"before_first_fill": true, "leaked": false},
     "clock": {"right": true, "timezone": "America/New_York"},
     "opening": {"mon": ["05:30", "23:00"], "sat": ["07:00", "01:00"]},
     "night_mode": {"start": "01:00", "end": "05:30"},
     "trained": ["opening shift", "store lead"],
     "points": {"tray_in": true, "bolt_kept_by": "store lead"}}
"""

from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, fields
from datetime import datetime, time
from decimal import Decimal
from typing import Any, Literal, TypeAlias

from triage.inputs.reader import MOST_NAME, Reader
from triage.logic.conditions import Scalar
from triage.schedule.service_hours import WEEKDAYS, minutes_of_day
from triage.values.errors import InputError, escaped

MOST_POINTS = 200
ReadLine: TypeAlias = Callable[[Reader, Any, str], Any]


@dataclass(frozen=True, slots=True)
class Circuit:
    """`volts` as measured at the outlet, `amps` as on the breaker; `extension_cord` includes power strips."""

    dedicated: bool | None = None
    volts: Decimal | None = None
    amps: Decimal | None = None
    extension_cord: bool | None = None


@dataclass(frozen=True, slots=True)
class Clearance:
    behind_in: Decimal | None = None
    left_in: Decimal | None = None
    right_in: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Legs:
    """Heights of the four corners above a level line; distances between the legs where they were measured."""

    front_left_in: Decimal
    front_right_in: Decimal
    back_left_in: Decimal
    back_right_in: Decimal
    depth_in: Decimal | None = None
    width_in: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Seal:
    style: Literal["grooved", "flat"] | None = None
    mounting: Literal["hopper", "machine"] | None = None


@dataclass(frozen=True, slots=True)
class WaterTest:
    """The run with water: before the first fill with mix, and whether water showed where it should not."""

    before_first_fill: bool | None = None
    leaked: bool | None = None


@dataclass(frozen=True, slots=True)
class Clock:
    right: bool | None = None
    timezone: str | None = None


@dataclass(frozen=True, slots=True)
class NightMode:
    start: time
    end: time


@dataclass(frozen=True, slots=True)
class Checklist:
    """What the installer wrote down; None where a line was left out. `trained` names roles or people.

    `opening` are the store's hours by weekday; a day not named is closed, and a closing time at or before the
    opening time lies on the next day. `points` are those that the rulebook alone judges, by id.
    """

    machine: str | None = None
    at: datetime | None = None
    circuit: Circuit = Circuit()
    clearance: Clearance = Clearance()
    legs: Legs | None = None
    slope_back_pct: Decimal | None = None
    slope_right_pct: Decimal | None = None
    shipping_bolt_removed: bool | None = None
    seal: Seal = Seal()
    water_test: WaterTest = WaterTest()
    clock: Clock = Clock()
    opening: Mapping[str, tuple[str, str]] | None = None
    night_mode: NightMode | None = None
    trained: tuple[str, ...] | None = None
    points: Mapping[str, Scalar] | None = None


def read_checklist(data: object) -> Checklist:
    """The checklist of JSON data. InputError lists every problem, each with its JSON pointer."""
    read = Reader()
    found: Checklist | None = _CHECKLIST(read, data, "")
    read.finish()
    assert found is not None
    return found


def _part(shape: type, what: str = "this", **lines: ReadLine) -> ReadLine:
    """Reads an object of the named lines, each of which may be left out where the shape has a default."""

    def read_part(read: Reader, raw: Any, pointer: str) -> Any:
        item = read.mapping(raw, pointer, lines, what)
        if not isinstance(raw, Mapping):
            return None
        given = {name: line for name, line in lines.items() if item.get(name) is not None}
        wanted = {field.name for field in fields(shape) if field.default is MISSING}
        for name in sorted(wanted - given.keys()):
            message = f'the key "{name}" is missing; give it, or leave all of this out'
            read.problem(message, f"{pointer}/{name}")
        values = {name: line(read, item[name], f"{pointer}/{name}") for name, line in given.items()}
        return None if read.problems else shape(**values)

    return read_part


def _number(least: int, most: int, above: bool = False) -> ReadLine:
    return lambda read, raw, pointer: read.number(raw, pointer, least, most, above)


def _one_of(*words: str) -> ReadLine:
    def read_word(read: Reader, raw: Any, pointer: str) -> str | None:
        if raw in words:
            return str(raw)
        read.problem(" or ".join(f'"{word}"' for word in words) + " is wanted", pointer)
        return None

    return read_word


def _time(read: Reader, raw: Any, pointer: str) -> time:
    try:
        minutes = minutes_of_day(raw) if isinstance(raw, str) else 24 * 60
    except InputError:
        minutes = 24 * 60
    if minutes == 24 * 60:
        read.problem('write a time of day from "00:00" to "23:59"', pointer)
    return time(*divmod(minutes % (24 * 60), 60))


def _opening(read: Reader, raw: Any, pointer: str) -> Mapping[str, tuple[str, str]]:
    days = read.mapping(raw, pointer, WEEKDAYS, "the opening hours")
    if raw == {}:
        read.problem("name the days on which the store is open, or leave this out", pointer)
    return {
        day: _day_hours(read, hours, f"{pointer}/{day}") for day, hours in days.items() if day in WEEKDAYS
    }


def _day_hours(read: Reader, raw: Any, pointer: str) -> tuple[str, str]:
    try:
        opens, closes = raw if isinstance(raw, list | tuple) else ()
        if isinstance(opens, str) and isinstance(closes, str):
            minutes_of_day(opens), minutes_of_day(closes)
            return opens, closes
    except (ValueError, InputError):
        pass
    read.problem('write opening and closing time such as ["05:30", "23:00"]', pointer)
    return "", ""


def _trained(read: Reader, raw: Any, pointer: str) -> tuple[str, ...]:
    return tuple(read.each(raw, pointer, read.name))


def _points(read: Reader, raw: Any, pointer: str) -> Mapping[str, Scalar]:
    if not isinstance(raw, Mapping) or len(raw) > MOST_POINTS:
        read.problem(f"these are at most {MOST_POINTS} points: an object of id and value", pointer)
        return {}
    found: dict[str, Scalar] = {}
    for name, value in raw.items():
        here = f"{pointer}/{escaped(name)}"
        if isinstance(value, bool):
            found[str(name)] = value
        elif isinstance(value, str):
            found[str(name)] = read.text(value, here, MOST_NAME).strip()
        else:
            found[str(name)] = read.number(value, here, -1_000_000, 1_000_000) or Decimal(0)
    return found


_INCHES, _LEG_INCHES, _SPAN_INCHES = _number(0, 120), _number(0, 12), _number(4, 60)
_CHECKLIST = _part(
    Checklist,
    "a checklist",
    machine=Reader.name,
    at=Reader.moment,
    circuit=_part(
        Circuit,
        dedicated=Reader.flag,
        volts=_number(0, 600),
        amps=_number(0, 400, above=True),
        extension_cord=Reader.flag,
    ),
    clearance=_part(Clearance, behind_in=_INCHES, left_in=_INCHES, right_in=_INCHES),
    legs=_part(
        Legs,
        front_left_in=_LEG_INCHES,
        front_right_in=_LEG_INCHES,
        back_left_in=_LEG_INCHES,
        back_right_in=_LEG_INCHES,
        depth_in=_SPAN_INCHES,
        width_in=_SPAN_INCHES,
    ),
    slope_back_pct=_number(-100, 100),
    slope_right_pct=_number(-100, 100),
    shipping_bolt_removed=Reader.flag,
    seal=_part(Seal, style=_one_of("grooved", "flat"), mounting=_one_of("hopper", "machine")),
    water_test=_part(WaterTest, before_first_fill=Reader.flag, leaked=Reader.flag),
    clock=_part(Clock, right=Reader.flag, timezone=Reader.zone),
    opening=_opening,
    night_mode=_part(NightMode, start=_time, end=_time),
    trained=_trained,
    points=_points,
)
