"""Level: legs, bubble and angle give a slope whose sign says which way the machine leans."""

from decimal import Decimal

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.measures.level import (
    facts,
    slope_from_angle,
    slope_from_bubble,
    slope_from_legs,
)
from triage.values.errors import InputError

LEGS = {
    "leg_front_left_in": Decimal(4),
    "leg_front_right_in": Decimal(4),
    "leg_back_left_in": Decimal(4),
    "leg_back_right_in": Decimal(4),
    "leg_depth_in": Decimal(20),
}
HEIGHTS = st.floats(0, 12)


def test_a_level_machine_has_no_slope_and_does_not_rock():
    assert facts(LEGS) == {
        "slope_back_pct": Decimal("0.00"),
        "tilted_back": False,
        "leg_twist_in": Decimal("0.000"),
        "rocks": False,
    }


def test_a_higher_front_leans_the_machine_back():
    found = facts(LEGS | {"leg_front_left_in": Decimal("4.25"), "leg_front_right_in": Decimal("4.25")})
    assert found["slope_back_pct"] == Decimal("1.25")
    assert found["tilted_back"] is True


def test_a_higher_back_leans_it_forward_and_is_not_tilted_back():
    found = facts(LEGS | {"leg_back_left_in": Decimal("4.25"), "leg_back_right_in": Decimal("4.25")})
    assert found["slope_back_pct"] == Decimal("-1.25")
    assert found["tilted_back"] is False


def test_one_leg_screwed_out_makes_the_machine_rock():
    found = facts(LEGS | {"leg_back_left_in": Decimal("4.125")})
    assert found["leg_twist_in"] == Decimal("0.125")
    assert found["rocks"] is True


def test_the_sideways_slope_needs_the_width():
    high_left = LEGS | {"leg_front_left_in": Decimal("4.16"), "leg_back_left_in": Decimal("4.16")}
    assert "slope_right_pct" not in facts(high_left)
    assert facts(high_left | {"leg_width_in": Decimal(16)})["slope_right_pct"] == Decimal("1.00")


def test_a_bubble_off_to_the_front_means_the_front_is_high():
    assert slope_from_bubble(1).back_pct == 2.0
    assert facts({"bubble_marks_front": Decimal("-0.5")}) == {
        "slope_back_pct": Decimal("-1.00"),
        "tilted_back": False,
    }
    assert facts({"bubble_marks_front": Decimal(2), "bubble_pct_per_mark": Decimal("0.05")})[
        "slope_back_pct"
    ] == Decimal("0.10")


def test_a_quarter_inch_in_a_foot_is_about_two_percent_by_any_instrument():
    units = pint.UnitRegistry()
    ratio = (0.25 * units.inch / units.foot).to("percent").magnitude
    by_legs = slope_from_legs(4.25, 4.25, 4, 4, depth_in=12).back_pct
    by_angle = slope_from_angle((0.25 * units.inch / units.foot).to("").magnitude * 180 / 3.14159265).back_pct
    assert by_legs == pytest.approx(ratio) == pytest.approx(2.0833, abs=1e-4)
    assert by_angle == pytest.approx(ratio, abs=1e-3)


def test_45_degrees_are_a_slope_of_100_percent():
    assert slope_from_angle(45).back_pct == pytest.approx(100)


def test_legs_count_before_an_angle_and_an_angle_before_a_bubble():
    all_three = LEGS | {"angle_back_deg": Decimal(1), "bubble_marks_front": Decimal(-1)}
    assert facts(all_three)["slope_back_pct"] == 0
    del all_three["leg_depth_in"]
    assert facts(all_three)["slope_back_pct"] == Decimal("1.75")


def test_three_legs_say_nothing():
    assert facts({name: value for name, value in LEGS.items() if name != "leg_back_left_in"}) == {}


def test_what_the_clerk_saw_is_not_overruled():
    leaning = LEGS | {"leg_front_left_in": Decimal(5), "leg_front_right_in": Decimal(5), "tilted_back": False}
    assert "tilted_back" not in facts(leaning)


def test_millimeters_are_welcome():
    metric = facts(LEGS | {"leg_front_left_in": "107.95 mm", "leg_front_right_in": "107.95 mm"})
    assert metric["slope_back_pct"] == Decimal("1.25")


def test_impossible_heights_and_depths_are_refused_together():
    with pytest.raises(InputError) as caught:
        slope_from_legs(-1, 4, 4, 13, depth_in=0)
    assert {problem.pointer for problem in caught.value.problems} == {
        "/leg_front_left_in",
        "/leg_back_right_in",
        "/leg_depth_in",
    }


@given(HEIGHTS, HEIGHTS, HEIGHTS, HEIGHTS)
@settings(deadline=None, derandomize=True)
def test_turning_the_machine_around_turns_the_slope_around(front_left, front_right, back_left, back_right):
    slope = slope_from_legs(front_left, front_right, back_left, back_right, depth_in=20, width_in=16)
    turned = slope_from_legs(back_right, back_left, front_right, front_left, depth_in=20, width_in=16)
    assert turned.back_pct == pytest.approx(-slope.back_pct)
    assert turned.right_pct == pytest.approx(-slope.right_pct)
    assert turned.twist_in == pytest.approx(slope.twist_in)


@given(st.floats(0, 5), st.floats(-0.1, 0.1), st.floats(-0.1, 0.1))
@settings(deadline=None, derandomize=True)
def test_four_corners_of_one_plane_never_rock_and_give_back_the_plane(height, back, right):
    depth, width, base = 20, 16, 4 + height
    slope = slope_from_legs(
        base + back * depth,
        base + back * depth - right * width,
        base,
        base - right * width,
        depth_in=depth,
        width_in=width,
    )
    assert slope.back_pct == pytest.approx(100 * back)
    assert slope.right_pct == pytest.approx(100 * right)
    assert slope.twist_in == pytest.approx(0, abs=1e-9)


def test_a_slope_or_a_loose_leg_exactly_at_its_limit_does_not_count():
    assert facts({"bubble_marks_front": Decimal("0.25")})["tilted_back"] is False
    assert facts({"bubble_marks_front": Decimal("0.26")})["tilted_back"] is True
    assert facts(LEGS | {"leg_back_left_in": Decimal("4.0625")})["rocks"] is False
