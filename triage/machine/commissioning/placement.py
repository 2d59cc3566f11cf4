"""One judged line of a checklist, and judging where the machine stands: circuit, space around it, level.

Work on the circuit is for a licensed electrician; local codes and the maker's manual come first.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, TypeAlias

from triage.machine.commissioning.checklist import Checklist, Legs
from triage.machine.measures.level import MOST_BACK_PCT, MOST_TWIST_IN, slope_from_legs
from triage.machine.measures.night_mode import LEAST_NIGHT_MODE_HOURS
from triage.machine.measures.quantities import rounded

Result: TypeAlias = Literal["passed", "failed", "missing"]
MOST_BACK, MOST_TWIST = Decimal(repr(MOST_BACK_PCT)), Decimal(repr(MOST_TWIST_IN))
MOST_APART_PCT = Decimal(1)
"""A slope that was measured twice differs by no more. Common practice, no source."""
ANY_IN = 10
"""A distance between legs whose slope is not asked for."""


@dataclass(frozen=True, slots=True)
class Standard:
    """What a machine needs where it stands. Common practice without a source where none is named."""

    volts_low: Decimal = Decimal(114)  # 120 V ± 5 %: service voltage of COMAR 20.50.07.02
    volts_high: Decimal = Decimal(126)
    amps: Decimal = Decimal(20)
    behind_in: Decimal = Decimal(6)
    side_in: Decimal = Decimal(3)  # where the model's need is not known; common practice, no source
    forward_pct: Decimal = Decimal(3)  # "slightly forward"
    side_pct: Decimal = Decimal(1)  # left or right
    aside_in: Decimal = Decimal("0.25")  # to a side, for leg heights without the distance between them
    back_in: Decimal = Decimal("0.125")  # for leg heights without the distance between the legs
    forward_in: Decimal = Decimal("0.5")
    night_mode_hours: Decimal = LEAST_NIGHT_MODE_HOURS
    freeze_hours: Decimal = Decimal(1)  # from the end of night mode to the opening


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the checklist, judged. `found` is "" where nothing was written down."""

    id: str
    title: str
    result: Result
    found: str
    wanted: str
    why: str


@dataclass(frozen=True, slots=True)
class Line:
    id: str
    title: str
    wanted: str

    def missing(self, what: str) -> Finding:
        return Finding(self.id, self.title, "missing", "", self.wanted, f"not written down: {what}")

    def judged(self, ok: bool, found: str, why_not: str) -> Finding:
        why = "as wanted" if ok else why_not
        return Finding(self.id, self.title, "passed" if ok else "failed", found, self.wanted, why)


def dedicated(checklist: Checklist) -> Finding:
    line = Line("circuit_dedicated", "Circuit of its own", "nothing else on the breaker")
    given = checklist.circuit.dedicated
    if given is None:
        return line.missing("whether anything else is on the breaker")
    return line.judged(
        given,
        "alone on the breaker" if given else "shared with other loads",
        "other loads pull the voltage down at each start and trip the breaker; "
        "ask a licensed electrician for a circuit of its own",
    )


def volts(checklist: Checklist, standard: Standard) -> Finding:
    line = Line(
        "circuit_volts", "Voltage at the outlet", f"{standard.volts_low:f} to {standard.volts_high:f} V"
    )
    volts = checklist.circuit.volts
    if volts is None:
        return line.missing("the voltage measured at the outlet")
    low, high = standard.volts_low, standard.volts_high
    off = f"{low - volts:f} V too low" if volts < low else f"{volts - high:f} V too high"
    return line.judged(
        low <= volts <= high,
        f"{volts:f} V",
        f"{off}; the compressor starts hard or its parts age. "
        "A licensed electrician or the utility finds the reason",
    )


def amps(checklist: Checklist, standard: Standard) -> Finding:
    line = Line("circuit_amps", "Breaker", f"{standard.amps:f} A")
    amps = checklist.circuit.amps
    if amps is None:
        return line.missing("the rating on the breaker")
    why = (
        f"{standard.amps - amps:f} A too small: it trips when both sides freeze and start"
        if amps < standard.amps
        else f"{amps - standard.amps:f} A too large for the plug: it would not protect the cord"
    )
    return line.judged(amps == standard.amps, f"{amps:f} A", f"{why}; for a licensed electrician")


def cord(checklist: Checklist) -> Finding:
    line = Line("extension_cord", "Plugged into the wall", "no extension cord and no power strip")
    given = checklist.circuit.extension_cord
    if given is None:
        return line.missing("whether a cord or strip is in use")
    return line.judged(
        not given,
        "cord or strip in use" if given else "straight into the wall",
        "a cord drops the voltage and runs hot, and is no substitute for fixed wiring",
    )


def behind(checklist: Checklist, standard: Standard) -> Finding:
    line = Line("clearance_behind", "Free space behind", f"at least {standard.behind_in:f} in")
    free = checklist.clearance.behind_in
    if free is None:
        return line.missing("the space between the back and the wall")
    return line.judged(
        free >= standard.behind_in,
        f"{free:f} in",
        f"{standard.behind_in - free:f} in short: warm air is drawn in again and the barrels stay soft",
    )


def sides(checklist: Checklist, standard: Standard) -> Finding:
    need = standard.side_in
    line = Line("clearance_sides", "Free space at the sides", f"at least {need:f} in each")
    sides = {"left": checklist.clearance.left_in, "right": checklist.clearance.right_in}
    unknown = [side for side, free in sides.items() if free is None]
    short = [f"{side} {free:f} in" for side, free in sides.items() if free is not None and free < need]
    found = ", ".join(f"{side} {free:f} in" for side, free in sides.items() if free is not None)
    if unknown and not short:
        return line.missing(f"the space {' and '.join(unknown)}")
    return line.judged(not short, found, f"too narrow for the air: {', '.join(short)}")


@dataclass(frozen=True, slots=True)
class Lean:
    """How far it leans back or right (above 0), forward or left; in inches where no distance is known."""

    by: Decimal
    unit: Literal["%", "in"]

    def words(self, above: str, below: str) -> str:
        return f"{abs(self.by):f} {self.unit} {above if self.by > 0 else below}" if self.by else ""


def level(checklist: Checklist, standard: Standard) -> Finding:
    back, forward, aside = MOST_BACK, standard.forward_pct, standard.side_pct
    line = Line(
        "level",
        "Level or slightly forward",
        f"at most {back:f} % back, {forward:f} % forward and {aside:f} % to a side, on all four legs",
    )
    legs, twice = _measured(checklist.legs), _measured_twice(checklist)
    if twice:
        return line.judged(False, twice, "the two cannot both be right; measure again")
    lean, tilt = _lean(checklist, "back"), _lean(checklist, "right")
    if lean is not None and lean.unit == "in":
        back, forward = standard.back_in, standard.forward_in
    if tilt is not None and tilt.unit == "in":
        aside = standard.aside_in
    found = [lean.words("back", "forward")] if lean else []
    found += [tilt.words("to the right", "to the left")] if tilt else []
    slopes = ", ".join(filter(None, found)) or "level"
    twist = Decimal(0) if legs is None else leg_twist_in(legs)
    reasons = [
        words
        for holds, words in (
            (
                lean is not None and lean.by > back,
                f"leans back ({slopes}): product stands behind the hopper seal and the tap starves",
            ),
            (
                lean is not None and -lean.by > forward,
                f"leans too far forward ({slopes}): the hopper does not fill to its mark",
            ),
            (
                tilt is not None and abs(tilt.by) > aside,
                f"leans to one side ({slopes}): one side runs over, the other does not fill",
            ),
            (twist > MOST_TWIST, f"one leg hangs {twist:f} in clear: the machine rocks"),
        )
        if holds
    ]
    if not reasons and (lean is None or tilt is None):
        what = "the slope from side to side" if lean else "four leg heights above 0, or both slopes"
        return line.missing(what)
    return line.judged(not reasons, slopes, "; ".join(reasons))


def _measured(legs: Legs | None) -> Legs | None:
    """Heights that somebody measured: four times 0 is a form that was not filled in."""
    return None if legs is None or not any(_heights(legs)) else legs


def _heights(legs: Legs) -> tuple[Decimal, Decimal, Decimal, Decimal]:
    return legs.front_left_in, legs.front_right_in, legs.back_left_in, legs.back_right_in


def _lean(checklist: Checklist, way: Literal["back", "right"]) -> Lean | None:
    slope = slope_back_pct(checklist) if way == "back" else slope_right_pct(checklist)
    if slope is not None:
        return Lean(slope, "%")
    legs = _measured(checklist.legs)
    if legs is None:
        return None
    front_left, front_right, back_left, back_right = _heights(legs)
    twice = front_left - back_right
    twice += front_right - back_left if way == "back" else back_left - front_right
    return Lean((twice / 2).normalize(), "in")


def _measured_twice(checklist: Checklist) -> str:
    """Both slopes where a slope was written down and the legs give another; "" where there is none."""
    for said, legs in zip(
        (checklist.slope_back_pct, checklist.slope_right_pct), _slopes_of_legs(checklist.legs), strict=True
    ):
        if said is not None and legs is not None and abs(said - legs) > MOST_APART_PCT:
            return f"slope {said:f} %, by the legs {legs:f} %"
    return ""


def _slopes_of_legs(legs: Legs | None) -> tuple[Decimal | None, Decimal | None]:
    """In percent, to the back and to the right."""
    measured = _measured(legs)
    if measured is None:
        return None, None
    heights, depth, width = map(float, _heights(measured)), measured.depth_in, measured.width_in
    slope = slope_from_legs(
        *heights, depth_in=float(depth or ANY_IN), width_in=None if width is None else float(width)
    )
    back = None if depth is None else rounded(slope.back_pct, 2)
    return back, None if slope.right_pct is None else rounded(slope.right_pct, 2)


def slope_back_pct(checklist: Checklist) -> Decimal | None:
    """The slope in percent, positive when leaning back: as written down, else from the legs.

    Not known where the two differ.
    """
    return _slope(checklist, checklist.slope_back_pct, _slopes_of_legs(checklist.legs)[0])


def slope_right_pct(checklist: Checklist) -> Decimal | None:
    """The same from side to side, positive when leaning right."""
    return _slope(checklist, checklist.slope_right_pct, _slopes_of_legs(checklist.legs)[1])


def _slope(checklist: Checklist, said: Decimal | None, by_legs: Decimal | None) -> Decimal | None:
    if _measured_twice(checklist):
        return None
    return by_legs if said is None else said


def leg_twist_in(legs: Legs) -> Decimal:
    """How far one leg hangs clear when the other three carry, in inches."""
    twist = legs.front_left_in + legs.back_right_in - legs.front_right_in - legs.back_left_in
    return abs(twist).normalize()
