"""Level: from four leg heights, a bubble or an angle to the slope in percent.

`facts` computes `slope_back_pct` (positive: leans back, the front is higher), `tilted_back` (flag),
`slope_right_pct` (positive: leans right, the left is higher) and, from four leg heights, `leg_twist_in` and
`rocks` (flag: one leg carries nothing).

Inputs are the ids in `INPUTS`. A leg height is the height of that corner of the case above a true level
line; on a level counter that is how far the leg is screwed out. Left out: a counter that is not level
itself, and a case or counter that bends. A bubble reading is in graduations the bubble is off center,
positive when it has moved to the front (the high side); `bubble_pct_per_mark` is engraved on the vial,
often 2 % on a carpenter's level (1/4 in a foot; common practice, no source).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from triage.logic.conditions import Facts, FactValue
from triage.machine.measures.quantities import Span, check_ranges, known_quantities, new_facts, rounded

_LEG = "the height of the {} leg"
INPUTS: Mapping[str, Span] = {
    "leg_front_left_in": Span(_LEG.format("front left"), 0, 12, "inch"),
    "leg_front_right_in": Span(_LEG.format("front right"), 0, 12, "inch"),
    "leg_back_left_in": Span(_LEG.format("back left"), 0, 12, "inch"),
    "leg_back_right_in": Span(_LEG.format("back right"), 0, 12, "inch"),
    "leg_depth_in": Span("the distance from front to back legs", 4, 60, "inch"),
    "leg_width_in": Span("the distance from left to right legs", 4, 60, "inch"),
    "bubble_marks_front": Span("how far the bubble is off to the front", -10, 10, ""),
    "bubble_pct_per_mark": Span("what one mark of the vial stands for", 0.005, 5, "percent"),
    "angle_back_deg": Span("the angle to the back", -45, 45, "degree"),
}
LEGS = tuple(
    name for name in INPUTS if name.startswith("leg_") and name not in ("leg_depth_in", "leg_width_in")
)


MOST_BACK_PCT, MOST_TWIST_IN = 0.5, 0.0625
"""From where on a slope or a loose leg counts. Common practice, no source; the maker's manual comes first."""


@dataclass(frozen=True, slots=True)
class Slope:
    """`back_pct` and `right_pct`: rise over run, positive when leaning that way; `twist_in`: how far one leg
    hangs clear when the other three carry."""

    back_pct: float
    right_pct: float | None = None
    twist_in: float | None = None


def slope_from_legs(
    front_left_in: float,
    front_right_in: float,
    back_left_in: float,
    back_right_in: float,
    *,
    depth_in: float,
    width_in: float | None = None,
) -> Slope:
    """The slope of the plane that fits four corner heights best (least squares)."""
    heights = dict(zip(LEGS, (front_left_in, front_right_in, back_left_in, back_right_in), strict=True))
    check_ranges(INPUTS, leg_depth_in=depth_in, **heights)
    front, back = front_left_in + front_right_in, back_left_in + back_right_in
    left, right = front_left_in + back_left_in, front_right_in + back_right_in
    if width_in is not None:
        check_ranges(INPUTS, leg_width_in=width_in)
    return Slope(
        back_pct=100 * (front - back) / 2 / depth_in,
        right_pct=None if width_in is None else 100 * (left - right) / 2 / width_in,
        twist_in=abs(front_left_in + back_right_in - front_right_in - back_left_in),
    )


def slope_from_bubble(marks_front: float, pct_per_mark: float = 2.0) -> Slope:
    """The slope a bubble shows that is `marks_front` graduations off center toward the front."""
    check_ranges(INPUTS, bubble_marks_front=marks_front, bubble_pct_per_mark=pct_per_mark)
    return Slope(back_pct=marks_front * pct_per_mark)


def slope_from_angle(back_deg: float) -> Slope:
    """The slope of an angle, as a digital level or a phone shows it."""
    check_ranges(INPUTS, angle_back_deg=back_deg)
    return Slope(back_pct=100 * math.tan(math.radians(back_deg)))


def facts(known: Facts) -> dict[str, FactValue]:
    """The facts named in the module's docstring; legs count before an angle, an angle before a bubble."""
    given = known_quantities(known, INPUTS)
    slope = _slope(given)
    if slope is None:
        return {}
    return new_facts(
        known,
        {
            "slope_back_pct": rounded(slope.back_pct, 2),
            "tilted_back": slope.back_pct > MOST_BACK_PCT,
            "slope_right_pct": None if slope.right_pct is None else rounded(slope.right_pct, 2),
            "leg_twist_in": None if slope.twist_in is None else rounded(slope.twist_in, 3),
            "rocks": None if slope.twist_in is None else slope.twist_in > MOST_TWIST_IN,
        },
    )


def _slope(given: Mapping[str, float]) -> Slope | None:
    if "leg_depth_in" in given and all(leg in given for leg in LEGS):
        heights = (given[leg] for leg in LEGS)
        return slope_from_legs(*heights, depth_in=given["leg_depth_in"], width_in=given.get("leg_width_in"))
    if "angle_back_deg" in given:
        return slope_from_angle(given["angle_back_deg"])
    if "bubble_marks_front" in given:
        return slope_from_bubble(given["bubble_marks_front"], given.get("bubble_pct_per_mark", 2.0))
    return None
