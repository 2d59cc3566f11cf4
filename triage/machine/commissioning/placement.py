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


@dataclass(frozen=True, slots=True)
class Standard:
    """What a machine needs where it stands. Common practice without a source where none is named."""

    volts_low: Decimal = Decimal(114)  # 120 V ± 5 %: service voltage of COMAR 20.50.07.02
    volts_high: Decimal = Decimal(126)
    amps: Decimal = Decimal(20)
    behind_in: Decimal = Decimal(6)
    side_in: Decimal | None = None  # None: anything but flush; the maker's manual says more
    forward_pct: Decimal = Decimal(3)  # "slightly forward"
    back_in: Decimal = Decimal("0.125")  # for leg heights without the distance between the legs
    forward_in: Decimal = Decimal("0.5")
    night_mode_hours: Decimal = LEAST_NIGHT_MODE_HOURS


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
    wanted = (
        "not flush; as much as the maker's manual asks for" if need is None else f"at least {need:f} in each"
    )
    line = Line("clearance_sides", "Free space at the sides", wanted)
    sides = {"left": checklist.clearance.left_in, "right": checklist.clearance.right_in}
    unknown = [side for side, free in sides.items() if free is None]
    short = [
        f"{side} {free:f} in"
        for side, free in sides.items()
        if free is not None and (free == 0 if need is None else free < need)
    ]
    found = ", ".join(f"{side} {free:f} in" for side, free in sides.items() if free is not None)
    if unknown and not short:
        return line.missing(f"the space {' and '.join(unknown)}")
    return line.judged(not short, found, f"too narrow for the air: {', '.join(short)}")


def level(checklist: Checklist, standard: Standard) -> Finding:
    line = Line(
        "level",
        "Level or slightly forward",
        f"at most {MOST_BACK_PCT:g} % back, at most {standard.forward_pct:f} % forward, on all four legs",
    )
    slope, legs = slope_back_pct(checklist), checklist.legs
    twist = Decimal(0) if legs is None else leg_twist_in(legs)
    if slope is None and legs is None:
        return line.missing("four leg heights, or the slope")
    if slope is not None:
        back, forward = slope > Decimal(repr(MOST_BACK_PCT)), -slope > standard.forward_pct
        found = f"{abs(slope):f} % {'back' if slope > 0 else 'forward'}" if slope else "level"
    else:
        lean = _front_higher_in(legs) if legs is not None else Decimal(0)
        back, forward = lean > standard.back_in, -lean > standard.forward_in
        found = f"{'front' if lean > 0 else 'back'} {abs(lean):f} in higher" if lean else "level"
    rocks = twist > Decimal(repr(MOST_TWIST_IN))
    reasons = [
        words
        for holds, words in (
            (back, f"leans back ({found}): product stands behind the hopper seal and the tap starves"),
            (forward, f"leans too far forward ({found}): the hopper does not fill to its mark"),
            (rocks, f"one leg hangs {twist:f} in clear: the machine rocks"),
        )
        if holds
    ]
    return line.judged(not reasons, found, "; ".join(reasons))


def slope_back_pct(checklist: Checklist) -> Decimal | None:
    """The slope in percent, positive when leaning back: as written down, else from the legs."""
    legs = checklist.legs
    if checklist.slope_back_pct is not None:
        return checklist.slope_back_pct
    if legs is None or legs.depth_in is None:
        return None
    heights = (legs.front_left_in, legs.front_right_in, legs.back_left_in, legs.back_right_in)
    slope = slope_from_legs(*(float(height) for height in heights), depth_in=float(legs.depth_in))
    return rounded(slope.back_pct, 2)


def leg_twist_in(legs: Legs) -> Decimal:
    """How far one leg hangs clear when the other three carry, in inches."""
    twist = legs.front_left_in + legs.back_right_in - legs.front_right_in - legs.back_left_in
    return abs(twist).normalize()


def _front_higher_in(legs: Legs) -> Decimal:
    higher = legs.front_left_in + legs.front_right_in - legs.back_left_in - legs.back_right_in
    return (higher / 2).normalize()
