"""`barrelwise simulate` as people call it."""

from __future__ import annotations

import json

import pytest

from tests import RULES
from triage.cli.main import run

SMALL = ["simulate", "--rulebook", str(RULES), "--machines", "3", "--years", "2", "--jobs", "1"]


def test_it_shows_the_programs_side_by_side(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SMALL) == 0
    shown = capsys.readouterr().out
    assert "always send" in shown
    assert "fixed in store" in shown
    assert "a year of 3 machines, in USD" in shown


def test_json_says_what_it_assumes_and_holds_a_candidate_against_the_rulebook(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run([*SMALL, "--candidate", str(RULES), "--world", "two_faults", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    world = said["worlds"]["two_faults"]
    assert world["assumes"]["two_faults"] == 0.1
    assert set(world["programs"]) == {"rulebook", "candidate", "always_send"}
    # The same rulebook does the same on the same calls.
    assert set(world["programs"]["candidate"]["against_first"]["spend"].values()) == {0.0}


def test_a_day_that_is_none_and_a_folder_that_is_none_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run([*SMALL, "--first-day", "1/1/26"]) == 2
    assert "2026-01-01" in capsys.readouterr().err
    assert run(["simulate", "--rulebook", "nowhere"]) == 2
    assert "nowhere" in capsys.readouterr().err
