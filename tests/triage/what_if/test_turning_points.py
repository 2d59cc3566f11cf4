"""Turning points: the value at which the outcome turns, found by hand and found again."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from tests.triage.builders import evidence, policy
from tests.triage.services import NOON, REPORT, rulebook_files
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import Inputs, decide_inputs, read_inputs
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.what_if.turning_points import turning_points, with_fact

OLD_FILTER = policy(
    "old-filter", {"filter_days": "> 60"}, {"filter_days": 61}, {"filter_days": 60}, "swap", 500, "Too long."
)
SURE = policy(
    "sure", {"top_chance": "> 0.70"}, {"top_chance": 0.8}, {"top_chance": 0.6}, "hold", 600, "Near certain."
)


def asked(answers: dict[str, Any], **files: Any) -> tuple[Rulebook, Inputs]:
    rulebook = rulebook_from_data(rulebook_files(**files))
    report = {**REPORT, "machine": None, "answers": answers}
    return rulebook, read_inputs(report, rulebook, NOON, lambda _: None)


def found(answers: dict[str, Any], most: int = 1500, **files: Any) -> Any:
    rulebook, inputs = asked(answers, **files)
    decision = decide_inputs(rulebook, compile_rulebook(rulebook, "plain"), inputs)
    return turning_points(rulebook, inputs, decision, most)


def moves_of(points: Any, fact: str) -> list[tuple[Any, str]]:
    return [
        (move["value"], move["outcome"])
        for entry in points["facts"]
        if entry["fact"] == fact
        for move in entry["changes"]
    ]


def test_a_number_turns_just_above_the_bound_of_the_rule() -> None:
    points = found({"filter_days": 40}, **{"policy/old-filter.yml": OLD_FILTER})
    value, outcome = moves_of(points, "filter_days")[0]
    assert outcome == "swap"
    assert 60 < value <= 61


def test_a_number_turns_back_at_the_bound_from_above() -> None:
    points = found({"filter_days": 90}, **{"policy/old-filter.yml": OLD_FILTER})
    assert moves_of(points, "filter_days") == [(60, "fix_in_store"), (None, "fix_in_store")]


def test_an_unknown_flag_that_would_move_the_outcome_is_named_and_one_that_would_not_is_not() -> None:
    points = found({"filter_days": 40})
    assert moves_of(points, "cord_damaged") == [(True, "dispatch")]
    assert moves_of(points, "seal_style") == []


def test_every_turning_point_does_move_the_outcome() -> None:
    files = {"policy/old-filter.yml": OLD_FILTER, "policy/sure.yml": SURE}
    rulebook, inputs = asked({"filter_days": 40}, **files)
    engine = compile_rulebook(rulebook, "plain")
    decision = decide_inputs(rulebook, engine, inputs)
    points = turning_points(rulebook, inputs, decision)
    assert points["facts"]
    for entry in points["facts"]:
        for move in entry["changes"]:
            value = Decimal(str(move["value"])) if type(move["value"]) in (int, float) else move["value"]
            again = decide_inputs(rulebook, engine, with_fact(inputs, entry["fact"], value))
            assert again.outcome == move["outcome"] != decision.outcome


def test_an_evidence_number_turns_where_the_chance_crosses_the_rule() -> None:
    """30 of 66 calls are a dirty filter: with p of seeing it, 30p / (30p + 36 * 0.3) passes 0.70 at 0.84."""
    points = found({"filter_days": 40}, **{"policy/sure.yml": SURE})
    (number,) = [each for each in points["numbers"] if each["cause"] == "dirty_filter"]
    assert (number["rule"], number["now"], number["outcome"]) == ("filter-overdue", 0.8, "hold")
    assert number["turns_at"] == pytest.approx(0.84, abs=0.002)


def test_the_bands_of_a_group_stay_within_one_whole() -> None:
    half = evidence(
        "fill-half",
        {"fill_level": "[20..50)"},
        {"fill_level": 30},
        {"fill_level": 80},
        {"low_fill": 0.10, "others": 0.30},
        group="fill",
        band=2,
    )
    points = found({"fill_level": 5}, **{"evidence/fill-half.yml": half, "policy/sure.yml": SURE})
    assert all(each["turns_at"] <= 0.9 for each in points["numbers"] if each["rule"] == "fill-low")


def test_work_that_was_cut_short_is_said() -> None:
    points = found({"filter_days": 40}, most=40)
    assert points["tried"] <= 40
    assert points["left_out"]
    assert found({"filter_days": 40})["left_out"] == []


def test_the_same_question_has_the_same_answer() -> None:
    assert found({"filter_days": 40}) == found({"filter_days": 40})
