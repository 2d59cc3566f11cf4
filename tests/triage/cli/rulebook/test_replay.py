"""`barrelwise rulebook replay`: tables for people, JSON alone, exit status by what is lost."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.triage.cli.test_main import Run, here, run, write_rulebook
from tests.triage.services import AGENT, REPORT, rulebook_files
from triage.cli.shown.opened import opened_service
from triage.service import tickets

__all__ = ["here", "run"]

DANGER = ("cautions/damaged-cord.yml", "policy/cord-dispatch.yml")


def record(run: Run) -> None:
    """Two tickets, one with a damaged cord."""
    assert run("load", "records")[0] == 0
    with opened_service() as service:
        tickets.open_ticket(service, REPORT, AGENT)
        tickets.open_ticket(service, {**REPORT, "answers": {"cord_damaged": True}}, AGENT)


def candidate(here: Path, *without: str) -> str:
    files = {path: data for path, data in rulebook_files().items() if path not in without}
    files["rulebook.yml"] = {"title": "A candidate", "currency": "USD"}
    return str(write_rulebook(here / "candidate", files))


def test_a_harmless_change_is_replayed_with_status_0(here: Path, run: Run) -> None:
    record(run)
    status, out, _ = run("rulebook", "replay", candidate(here), "--jobs", "1")
    assert status == 0
    for said in ("3 decisions of 2 tickets", "0 of 3 decisions change", "Safety outcomes lost: 0"):
        assert said in out


def test_a_lost_safety_outcome_is_printed_and_gives_status_1(here: Path, run: Run) -> None:
    record(run)
    status, out, _ = run("rulebook", "replay", candidate(here, *DANGER), "--jobs", "1")
    assert status == 1
    assert "use no longer stopped: damaged-cord" in out
    assert "dispatch → fix_in_store 1" in out


def test_json_is_printed_alone_and_a_stopped_replay_goes_on_from_its_file(here: Path, run: Run) -> None:
    record(run)
    arguments = (
        "rulebook",
        "replay",
        candidate(here, *DANGER),
        "--json",
        "--jobs",
        "1",
        "--resume",
        "r.jsonl",
    )
    status, out, _ = run(*arguments)
    data = json.loads(out)
    assert status == 1
    assert data["changed"] == 1
    assert run(*arguments)[1] == out
    assert len(Path("r.jsonl").read_text().splitlines()) == 2
    assert Path("r.jsonl").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("since", ["yesterday", "2026-01-01T00:00:00"])
def test_a_time_without_its_offset_is_wrong_input(here: Path, run: Run, since: str) -> None:
    status, _, err = run("rulebook", "replay", candidate(here), "--since", since)
    assert status == 2
    assert "--since" in err


def test_without_a_rulebook_live_there_is_nothing_to_compare_with(here: Path, run: Run) -> None:
    status, _, err = run("rulebook", "replay", candidate(here))
    assert status == 2
    assert "no rulebook is live" in err


def test_a_candidate_that_cannot_be_read_is_refused_with_file_and_line(here: Path, run: Run) -> None:
    record(run)
    folder = candidate(here)
    (Path(folder) / "causes" / "broken.yml").write_text("id: broken\ntitle: [\n")
    status, _, err = run("rulebook", "replay", folder)
    assert status == 2
    assert "causes/broken.yml:" in err
