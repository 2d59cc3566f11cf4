"""The command `what-if`: before and after, data alone with --json, and wrong input named."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.triage.cli.test_main import Run, change, here, run, write_rulebook  # noqa: F401
from tests.triage.services import AGENT, rulebook_files
from triage.cli.shown.opened import opened_service
from triage.service import tickets

REPORT = {
    "symptoms": ["not_freezing"],
    "reported_at": "2026-03-02T11:55:00-05:00",
    "answers": {"filter_days": 40},
}


@pytest.fixture
def ticket(here: Path) -> str:  # noqa: F811
    with opened_service() as service:
        return tickets.open_ticket(service, REPORT, AGENT).id


def test_a_changed_fact_is_shown_before_and_after(run: Run, ticket: str) -> None:  # noqa: F811
    status, out, err = run("what-if", ticket, "--set", "cord_damaged=yes", "--set", "filter_days=a week ago")
    assert (status, err) == (0, "")
    for said in (
        "Outcome: Fix in store → Send a technician.",
        "Filter days: 40 → 7.",
        "A caution comes in: Damaged cord, which stops use.",
        "A step is dropped: Rinse filter.",
        "Nothing was stored. Before is what the ticket says.",
    ):
        assert said in out


def test_without_a_change_nothing_moves(run: Run, ticket: str) -> None:  # noqa: F811
    status, out, _ = run("what-if", ticket)
    assert status == 0
    assert "Nothing changes." in out


def test_json_is_both_decisions_and_the_move_alone(run: Run, ticket: str) -> None:  # noqa: F811
    status, out, err = run(
        "what-if", ticket, "--forget", "filter_days", "--check", "fill-hopper=not_cured", "--json"
    )
    found = json.loads(out)
    assert (status, err, found["as_recorded"], found["changed"]) == (0, "", True, True)
    assert found["before"]["facts"]["filter_days"]["value"] == 40
    assert "filter_days" not in found["after"]["facts"]
    assert [step["check"] for step in found["after"]["plan"]] == ["rinse-filter"]
    assert len(found["words"]) == len(found["changes"])


def test_turning_points_are_named(run: Run, ticket: str) -> None:  # noqa: F811
    status, out, _ = run("what-if", ticket, "--turning-points")
    assert status == 0
    assert "Cord damaged (now not known): yes: Send a technician" in out


def test_another_folder_decides_the_other_side(run: Run, here: Path, ticket: str) -> None:  # noqa: F811
    write_rulebook(here / "other", rulebook_files())
    (here / "other/policy/fix-first.yml").unlink()
    status, out, _ = run("what-if", ticket, "--rulebook", "other")
    assert status == 0
    assert "no longer fires" in out
    change(here / "other/evidence/filter-overdue.yml", title=3)
    status, out, err = run("what-if", ticket, "--rulebook", "other")
    assert (status, out) == (2, "")
    assert "evidence/filter-overdue.yml:1:35: title: 3 does not fit" in err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--set", "filter_dys=3"], 'did you mean "filter_days"'),
        (["--set", "filter_days"], "is not name=value"),
        (["--set", "filter_days=3", "--set", "filter_days=4"], "twice"),
        (["--set", "filter_days=often"], "/set/filter_days"),
        (["--forget", "filter_dys"], 'did you mean "filter_days"'),
        (["--check", "rinse-filtr=cured"], 'did you mean "rinse-filter"'),
        (["--at", "noon"], "not a time"),
        (["--version", "sha256:00"], "no kept rulebook"),
        (["--version", "sha256:00", "--rulebook", "rules"], "name one of them"),
    ],
)
def test_wrong_input_is_named_with_exit_status_2(
    run: Run,  # noqa: F811
    ticket: str,
    arguments: list[str],
    said: str,
) -> None:
    status, out, err = run("what-if", ticket, *arguments)
    assert (status, out) == (2, "")
    assert said in err


def test_a_ticket_that_is_not_there_is_wrong_input(run: Run, ticket: str) -> None:  # noqa: F811
    assert ticket
    assert run("what-if", "T-999999")[0] == 2
