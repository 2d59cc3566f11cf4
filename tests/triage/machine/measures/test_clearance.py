"""Clearance: one short side is enough to be short, and only full measures clear it."""

from decimal import Decimal

import pytest

from triage.machine.measures.clearance import facts, shortfalls_in
from triage.values.errors import InputError

NEEDS = {"clearance_need_behind_in": Decimal(6), "clearance_need_left_in": Decimal(4)}


def test_one_short_side_is_enough_though_another_was_not_measured():
    assert facts(NEEDS | {"clearance_behind_in": Decimal("2.5")}) == {
        "clearance_short": True,
        "clearance_short_in": Decimal("3.50"),
        "clearance_short_side": "behind",
    }


def test_enough_on_one_side_says_nothing_while_another_was_not_measured():
    assert "clearance_short" not in facts(NEEDS | {"clearance_behind_in": Decimal(8)})


def test_exactly_what_is_needed_on_every_side_is_enough():
    found = facts(NEEDS | {"clearance_behind_in": Decimal(6), "clearance_left_in": Decimal(4)})
    assert found == {"clearance_short": False, "clearance_short_in": Decimal("0.00")}


def test_the_side_that_lacks_most_is_named():
    found = facts(NEEDS | {"clearance_behind_in": Decimal(5), "clearance_left_in": Decimal(1)})
    assert (found["clearance_short_side"], found["clearance_short_in"]) == ("left", Decimal("3.00"))


def test_a_side_without_a_stated_need_is_not_judged():
    assert facts({"clearance_right_in": Decimal(0)}) == {}
    assert shortfalls_in({"right": 0.0, "behind": 3.0}, {"behind": 4.0}) == {"behind": 1.0}


def test_centimeters_are_converted():
    assert facts(NEEDS | {"clearance_behind_in": "10.16 cm"})["clearance_short_in"] == Decimal("2.00")


def test_negative_space_is_refused():
    with pytest.raises(InputError, match="the free space behind is -1 inch"):
        facts(NEEDS | {"clearance_behind_in": Decimal(-1)})
    with pytest.raises(InputError, match="must lie between 0 and 120"):
        shortfalls_in({"left": 1.0}, {"left": 500.0})
