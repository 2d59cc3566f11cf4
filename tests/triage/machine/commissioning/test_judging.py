"""An installer's checklist: read strictly, judged line by line, kept as facts."""

from __future__ import annotations

import copy
from datetime import datetime
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.commissioning import Checklist, Finding, Standard, facts, findings, read_checklist
from triage.values.errors import InputError

GOOD: dict[str, object] = {
    "machine": "LH20-10001",
    "at": "2026-03-02T10:00:00-05:00",
    "circuit": {"dedicated": True, "volts": 119.5, "amps": 20, "extension_cord": False},
    "clearance": {"behind_in": 6, "left_in": 3, "right_in": 3},
    "legs": {
        "front_left_in": 4,
        "front_right_in": 4,
        "back_left_in": 4.125,
        "back_right_in": 4.125,
        "depth_in": 18,
        "width_in": 14,
    },
    "shipping_bolt_removed": True,
    "seal": {"style": "grooved", "mounting": "hopper"},
    "water_test": {"before_first_fill": True, "leaked": False},
    "clock": {"right": True, "timezone": "America/New_York"},
    "opening": {day: ["05:30", "23:00"] for day in ("mon", "tue", "wed", "thu", "fri", "sat", "sun")},
    "night_mode": {"start": "23:00", "end": "04:30"},
    "trained": ["opening shift", "store lead"],
}
LINES = (
    "circuit_dedicated",
    "circuit_volts",
    "circuit_amps",
    "extension_cord",
    "clearance_behind",
    "clearance_sides",
    "level",
    "shipping_bolt",
    "seal",
    "water_test",
    "clock",
    "night_mode",
    "night_mode_opening",
    "training",
)

CORNERS = ("front_left", "front_right", "back_left", "back_right")


def checklist(**changes: object) -> dict[str, object]:
    """The good checklist with dotted keys changed (`circuit__volts=110`); None leaves the line out."""
    data = copy.deepcopy(GOOD)
    for dotted, value in changes.items():
        *parents, key = dotted.split("__")
        part = data
        for parent in parents:
            part = part[parent]  # type: ignore[assignment]
        if value is None:
            del part[key]
        else:
            part[key] = value
    return data


def judged(line: str, data: dict[str, object], **options: object) -> Finding:
    return next(one for one in findings(read_checklist(data), **options) if one.id == line)


def facts_of(read: Checklist) -> dict[str, object]:
    return dict(facts(read, findings(read)))


def test_a_good_checklist_passes_on_every_line():
    found = findings(read_checklist(GOOD), site_timezone="America/New_York")
    assert tuple(one.id for one in found) == LINES
    assert {one.result for one in found} == {"passed"}


def test_an_empty_checklist_is_missing_on_every_line_and_passes_none():
    found = findings(read_checklist({}))
    assert {one.result for one in found} == {"missing"}
    assert all(one.why.startswith("not written down: ") and one.found == "" for one in found)


@pytest.mark.parametrize(
    ("line", "changes", "words"),
    [
        ("circuit_dedicated", {"circuit__dedicated": False}, "licensed electrician"),
        ("circuit_volts", {"circuit__volts": 112.5}, "1.5 V too low"),
        ("circuit_volts", {"circuit__volts": 127}, "1 V too high"),
        ("circuit_amps", {"circuit__amps": 15}, "5 A too small"),
        ("circuit_amps", {"circuit__amps": 30}, "10 A too large"),
        ("extension_cord", {"circuit__extension_cord": True}, "no substitute for fixed wiring"),
        ("clearance_behind", {"clearance__behind_in": 3.5}, "2.5 in short"),
        ("clearance_sides", {"clearance__left_in": 0}, "left 0 in"),
        ("level", {"legs__front_left_in": 4.5, "legs__front_right_in": 4.5}, "2.08 % back"),
        ("level", {"legs": None, "slope_right_pct": 0, "slope_back_pct": 1}, "leans back"),
        ("level", {"legs": None, "slope_right_pct": 0, "slope_back_pct": -4}, "too far forward"),
        ("level", {"legs__front_left_in": 4.25}, "one leg hangs 0.25 in clear"),
        ("shipping_bolt", {"shipping_bolt_removed": False}, "knocks"),
        ("seal", {"seal__mounting": "machine"}, "a grooved seal goes on the hopper"),
        ("seal", {"seal__style": "flat"}, "a flat seal goes on the machine"),
        ("water_test", {"water_test__leaked": True}, "test again"),
        ("water_test", {"water_test__before_first_fill": False}, "shows first with mix"),
        ("clock", {"clock__right": False}, "the clock is wrong"),
        ("clock", {"clock__timezone": "America/Denver"}, "America/Denver is not the site's America/New_York"),
        ("night_mode", {"night_mode__start": "01:00"}, "0.50 h short"),
        ("night_mode", {"night_mode__start": "04:30"}, "night mode is not set"),
        ("night_mode_opening", {"night_mode__start": "22:30"}, "mon, tue, wed, thu, fri, sat, sun"),
        ("night_mode_opening", {"opening__sat": ["07:00", "01:00"]}, "on the nights of sat it thaws"),
        ("training", {"trained": []}, "nobody in the store"),
    ],
)
def test_a_line_that_fails_says_why_and_by_how_much(line, changes, words):
    data = checklist(**changes)
    finding = judged(line, data, site_timezone="America/New_York")
    assert finding.result == "failed"
    assert words in finding.why
    others = findings(read_checklist(data), site_timezone="America/New_York")
    assert [one.id for one in others if one.result != "passed"] == [line]


@pytest.mark.parametrize(
    ("line", "changes"),
    [
        ("circuit_dedicated", {"circuit__dedicated": None}),
        ("circuit_volts", {"circuit__volts": None}),
        ("circuit_amps", {"circuit__amps": None}),
        ("extension_cord", {"circuit__extension_cord": None}),
        ("clearance_behind", {"clearance__behind_in": None}),
        ("clearance_sides", {"clearance__right_in": None}),
        ("level", {"legs": None}),
        ("shipping_bolt", {"shipping_bolt_removed": None}),
        ("seal", {"seal__style": None}),
        ("water_test", {"water_test__leaked": None}),
        ("clock", {"clock__timezone": None}),
        ("night_mode_opening", {"opening": None}),
        ("training", {"trained": None}),
    ],
)
def test_a_line_left_out_is_missing_and_touches_no_other(line, changes):
    found = findings(read_checklist(checklist(**changes)))
    assert [(one.id, one.result) for one in found if one.result != "passed"] == [(line, "missing")]


def test_what_is_known_to_be_wrong_fails_even_where_the_rest_of_the_line_is_missing():
    assert judged("water_test", {"water_test": {"leaked": True}}).result == "failed"
    assert judged("clearance_sides", {"clearance": {"left_in": 0}}).result == "failed"
    assert judged("clock", {"clock": {"right": False}}).result == "failed"


def test_limits_themselves_pass():
    at_limit = checklist(
        circuit__volts=114, clearance__behind_in=6, night_mode={"start": "00:30", "end": "04:30"}
    )
    assert {one.result for one in findings(read_checklist(at_limit))} == {"passed"}
    assert judged("circuit_volts", checklist(circuit__volts=126)).result == "passed"
    for back, right in ((0.5, 1), (-3, -1)):
        by_slope = checklist(legs=None, slope_back_pct=back, slope_right_pct=right)
        assert judged("level", by_slope).result == "passed"


def test_leg_heights_without_their_distance_are_judged_in_inches():
    back = checklist(
        legs__depth_in=None, legs__width_in=None, legs__front_left_in=4.5, legs__front_right_in=4.5
    )
    assert judged("level", back).why == (
        "leans back (0.375 in back): product stands behind the hopper seal and the tap starves"
    )
    assert judged("level", checklist(legs__depth_in=None)).found == "0.125 in forward"


@pytest.mark.parametrize(
    ("line", "changes", "result", "words"),
    [
        ("level", {"legs__front_left_in": 5, "legs__back_left_in": 5.125}, "failed", "7.14 % to the right"),
        (
            "level",
            {"legs__front_left_in": 5, "legs__back_left_in": 5.125, "legs__width_in": None},
            "failed",
            "1 in to the right",
        ),
        ("level", {"slope_back_pct": 0.5}, "failed", "measure again"),
        ("level", {"slope_right_pct": -1.5}, "failed", "measure again"),
        ("level", {"legs": None, "slope_back_pct": 0}, "missing", "from side to side"),
        ("level", {f"legs__{one}_in": 0 for one in CORNERS}, "missing", "above 0"),
        ("clearance_sides", {"clearance__left_in": 0.01}, "failed", "left 0.01 in"),
        ("night_mode_opening", {"night_mode__end": "05:30"}, "failed", "nothing is frozen by then"),
        ("night_mode_opening", {"night_mode__end": "04:31"}, "failed", "nothing is frozen by then"),
        ("training", {"trained": ["Nobody"]}, "failed", "nobody in the store"),
        ("training", {"trained": ["n/a", "-"]}, "failed", "nobody in the store"),
    ],
)
def test_what_cannot_be_right_does_not_pass(line, changes, result, words):
    finding = judged(line, checklist(**changes))
    assert (finding.result, words in finding.why + finding.found) == (result, True)


def test_two_slopes_that_contradict_make_no_fact():
    twice = facts_of(read_checklist(checklist(slope_back_pct=0.5)))
    assert "slope_back_pct" not in twice
    assert "tilted_back" not in twice


def test_a_store_that_never_closes_needs_night_mode_too_and_is_told_why():
    short = checklist(night_mode={"start": "02:00", "end": "04:00"})
    finding = judged("night_mode", short, open_around_the_clock=True)
    assert finding.result == "failed"
    assert "never closes" in finding.wanted
    assert "quietest hours" in finding.why


def test_without_a_window_neither_its_length_nor_its_place_can_be_judged():
    found = findings(read_checklist(checklist(night_mode=None)))
    assert [one.id for one in found if one.result == "missing"] == ["night_mode", "night_mode_opening"]


def test_where_the_store_never_closes_night_mode_cannot_lie_outside_its_hours():
    finding = judged("night_mode_opening", checklist(opening=None), open_around_the_clock=True)
    assert (finding.result, finding.found) == ("passed", "the store never closes")


def test_night_mode_in_opening_hours_becomes_a_fact():
    late = read_checklist(checklist(opening__sat=["07:00", "01:00"], opening__sun=["05:30", "24:00"]))
    assert facts_of(late)["night_mode_open_hours"] == Decimal(2)
    assert "night_mode_open_hours" not in facts_of(read_checklist(checklist(opening=None)))


def test_the_space_a_model_needs_at_its_sides_is_judged_where_it_is_known():
    finding = judged("clearance_sides", GOOD, standard=Standard(side_in=Decimal("3.5")))
    assert (finding.result, finding.why) == ("failed", "too narrow for the air: left 3 in, right 3 in")


def test_the_facts_hold_what_was_written_down_and_count_the_rest():
    partial = read_checklist(checklist(circuit__dedicated=None, shipping_bolt_removed=False, legs=None))
    assert facts(partial, findings(partial)) == {
        "circuit_amps": Decimal(20),
        "extension_cord": False,
        "clearance_behind_in": Decimal(6),
        "clearance_left_in": Decimal(3),
        "clearance_right_in": Decimal(3),
        "bolt_removed": False,
        "seal_style": "grooved",
        "seal_mounting": "hopper",
        "night_mode_hours": Decimal("5.5"),
        "night_mode_open_hours": Decimal(0),
        "commissioning_missing": Decimal(2),
        "commissioning_failed": Decimal(1),
    }


def test_a_slope_becomes_a_fact_and_so_does_leaning_back():
    assert facts_of(read_checklist(GOOD))["slope_back_pct"] == Decimal("-0.69")
    leaning = facts_of(read_checklist(checklist(legs=None, slope_back_pct=2)))
    assert (leaning["slope_back_pct"], leaning["tilted_back"]) == (Decimal(2), True)


def test_an_empty_checklist_makes_no_fact_but_the_counts():
    empty = read_checklist({})
    assert facts(empty, findings(empty)) == {
        "commissioning_missing": Decimal(14),
        "commissioning_failed": Decimal(0),
    }


def test_the_machine_and_the_moment_are_read_with_their_offset():
    read = read_checklist(GOOD)
    assert read.machine == "LH20-10001"
    assert read.at == datetime.fromisoformat("2026-03-02T10:00:00-05:00")


def test_all_problems_are_listed_each_with_its_pointer():
    bad = {
        "circit": {},
        "circuit": {"dedicated": "yes", "volts": "120", "amps": 0, "extension_cord": 1},
        "clearance": [],
        "legs": {"front_left_in": 99, "front_right_in": 4, "back_left_in": 4},
        "slope_back_pct": float("nan"),
        "seal": {"style": "oval"},
        "clock": {"timezone": "Eastern", "a/b": 1},
        "night_mode": {"start": "24:00", "end": 5},
        "opening": {"mon": ["05:30"], "monday": ["05:30", "23:00"], "tue": ["05:30", "23:60"]},
        "trained": "bob",
        "at": "2026-03-02",
        "machine": " ",
    }
    with pytest.raises(InputError) as raised:
        read_checklist(bad)
    problems = {problem.pointer: problem.message for problem in raised.value.problems}
    assert set(problems) == {
        "/circit",
        "/circuit/dedicated",
        "/circuit/volts",
        "/circuit/amps",
        "/circuit/extension_cord",
        "/clearance",
        "/legs/front_left_in",
        "/legs/back_right_in",
        "/slope_back_pct",
        "/seal/style",
        "/clock/timezone",
        "/clock/a~1b",
        "/night_mode/start",
        "/night_mode/end",
        "/opening/mon",
        "/opening/monday",
        "/opening/tue",
        "/trained",
        "/at",
        "/machine",
    }
    assert problems["/circit"] == 'unknown key "circit"; did you mean "circuit"?'
    assert problems["/circuit/dedicated"] == "this is true or false, without quotes"
    assert problems["/legs/back_right_in"] == (
        'the key "back_right_in" is missing; give it, or leave all of this out'
    )
    assert problems["/seal/style"] == '"grooved" or "flat" is wanted'


@pytest.mark.parametrize("data", [None, [], "checklist", 3])
def test_what_is_no_object_is_refused(data):
    with pytest.raises(InputError, match="a checklist is an object"):
        read_checklist(data)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(st.dictionaries(st.sampled_from(sorted(GOOD)), JSON, max_size=4))
def test_any_json_gives_a_judged_checklist_or_an_input_error_with_pointers(data):
    try:
        found = findings(read_checklist(data))
    except InputError as error:
        assert all(problem.pointer for problem in error.problems)
    else:
        assert tuple(one.id for one in found) == LINES
