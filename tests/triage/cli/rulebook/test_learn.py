"""`barrelwise rulebook learn`: a proposal from closed tickets, its bias named, nothing changed by itself."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.triage.cli.test_main import Run, here, run
from tests.triage.payloads import close_out
from tests.triage.services import AGENT, REPORT
from triage.cli.shown.opened import opened_service
from triage.rulebook.reading.reader import read_rulebook
from triage.service import tickets

__all__ = ["here", "run"]


@pytest.fixture
def closed(here: Path, run: Run) -> Run:
    """Six tickets closed with a low fill that refilling cured, one cured without a cause, one still open."""
    assert run("load", "records")[0] == 0
    with opened_service() as service:
        for number in range(8):
            answers = {"filter_days": 40 if number < 2 else 3}
            ticket = tickets.open_ticket(service, {**REPORT, "answers": answers}, AGENT)
            if number == 7:
                continue
            cause = None if number == 6 else "low_fill"
            closed = close_out(cause, 0, cured_by="fill-hopper")
            with service.store.write() as work:
                work.tickets.append(
                    ticket.id,
                    [closed],
                    at=service.now(),
                    who="desk",
                    rulebook=ticket.rulebook,
                )
    return run


def files_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.rglob("*.yml")}


def test_a_proposal_is_printed_with_its_bias_and_changes_nothing(closed: Run, here: Path) -> None:
    before = files_of(here / "rules")
    status, out, _ = closed("rulebook", "learn", "--least", "5", "--weight", "6")
    assert status == 0
    assert "Learned from 7 of 7 closed tickets: 6 with" in out
    assert "(1 fixed by a check)" in " ".join(out.split())
    assert '+  "low_fill": 42.0' in out  # (6 × 14/66 + 7) / 13 of 66: what refilling fixed was low as well
    assert files_of(here / "rules") == before


def test_json_gives_every_number_that_a_ticket_speaks_to(closed: Run) -> None:
    data = json.loads(closed("rulebook", "learn", "--json", "--least", "5", "--weight", "6")[1])
    numbers = {(one["kind"], one["of"], one["cause"]): one for one in data["numbers"]}
    overdue = numbers["seen_with", "filter-overdue", "others"]
    assert (overdue["hits"], round(overdue["tickets"], 2)) == (2, 7)
    cure = numbers["cure", "fill-hopper", "low_fill"]
    assert (round(cure["hits"], 2), round(cure["tickets"], 2), cure["proposed"]) == (7, 7, 0.95)
    assert "--- a/checks/fill-hopper.yml" in data["patch"]


def test_the_candidate_is_written_beside_and_can_be_read(closed: Run, here: Path) -> None:
    status, _, err = closed("rulebook", "learn", "--least", "5", "--weight", "6", "--out", "candidate")
    assert status == 0
    assert "files changed" in err
    assert read_rulebook(here / "candidate").checks["fill-hopper"].resolves["low_fill"] == 0.95
    assert closed("rulebook", "learn", "--out", "candidate")[0] == 2


def test_from_few_tickets_nothing_is_proposed(closed: Run) -> None:
    data = json.loads(closed("rulebook", "learn", "--json")[1])
    assert data["patch"] == ""
    assert {one["proposed"] for one in data["numbers"]} == {None}


def test_only_tickets_closed_in_the_time_asked_for_are_learned_from(closed: Run) -> None:
    data = json.loads(closed("rulebook", "learn", "--json", "--since", "2999-01-01T00:00:00Z")[1])
    assert data["numbers"] == []


def test_it_says_what_is_assumed_and_that_the_tickets_are_thin(closed: Run) -> None:
    status, out, _ = closed("rulebook", "learn", "--least", "5", "--weight", "6")
    words = " ".join(out.split())
    assert status == 0
    assert "Assumed: a ticket has one fault" in words
    assert "Too thin: fewer than 20 confirmed causes." in words
