"""`barrelwise rulebook diff` beside a database: how many recorded tickets a change changes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.triage.cli.rulebook.test_replay import DANGER, candidate, record
from tests.triage.cli.test_main import Run, here, run
from triage.cli.shown.opened import opened_service

__all__ = ["here", "run"]

LATER = "2999-01-01T00:00:00+00:00"


def test_the_recorded_tickets_are_decided_again_under_both_sides(here: Path, run: Run) -> None:
    record(run)
    status, out, err = run("rulebook", "diff", "rules", candidate(here, *DANGER), "--tickets")
    assert status == 0
    lines = out.splitlines()
    assert "damaged-cord" in out
    assert lines[-1].startswith("1 of 2 recorded tickets changes; 8 safety outcomes lost (3 decisions looked")
    assert "decided from the beginning until" in lines[-1]
    assert "Redeciding" in err


def test_it_says_over_which_time_and_counts_nothing_outside_it(here: Path, run: Run) -> None:
    record(run)
    folder = candidate(here, *DANGER)
    _, out, _ = run("rulebook", "diff", "live", folder, "--since", LATER)
    assert out.splitlines()[-1].startswith("0 of 0 recorded tickets change (0 decisions looked at, decided")
    assert "from 2999-01-01 00:00+00:00" in out
    counted = json.loads(run("rulebook", "diff", "live", folder, "--since", LATER, "--json")[1])["tickets"]
    assert (counted["tickets"], counted["since"], counted["replayed_at"]) == (0, LATER, None)


def test_without_being_asked_the_newest_replay_between_the_two_says_it(here: Path, run: Run) -> None:
    record(run)
    folder = candidate(here, *DANGER)
    assert json.loads(run("rulebook", "diff", "rules", folder, "--json")[1])["tickets"] is None
    assert run("rulebook", "replay", folder, "--jobs", "1")[0] == 1
    _, out, err = run("rulebook", "diff", "rules", folder)
    assert out.splitlines()[-1].startswith("1 of 2 recorded tickets changes")
    assert "as the replay of" in out
    assert err == ""
    counted = json.loads(run("rulebook", "diff", "rules", folder, "--json")[1])["tickets"]
    assert (counted["tickets"], counted["changed"], counted["decisions"]) == (2, 1, 3)
    assert counted["replayed_at"] is not None
    assert json.loads(run("rulebook", "diff", folder, "rules", "--json")[1])["tickets"] is None


def test_two_kept_versions_are_compared_by_their_first_digits(here: Path, run: Run) -> None:
    record(run)
    folder = candidate(here, *DANGER)
    run("rulebook", "replay", folder, "--jobs", "1")
    log = json.loads(run("rulebook", "log", "--json")[1])
    versions = {line["stage"]: line["version"] for line in log}
    arguments = (versions["published"][7:19], versions["checked"][:20])
    status, out, _ = run("rulebook", "diff", *arguments, "--tickets")
    assert status == 0
    assert out.splitlines()[-1].startswith("1 of 2 recorded tickets changes")
    with opened_service() as service:
        assert service.rulebook.version == versions["published"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("rules", "--tickets"), "no database at hand"),
        (("live",), "no database at hand"),
        (("abcdef0",), "no database at hand"),
        (("nowhere",), "there is no such folder"),
        (("rules", "--since", "yesterday"), "--since"),
    ],
)
def test_without_a_database_what_needs_one_is_refused_and_none_is_made(
    here: Path, run: Run, arguments: tuple[str, ...], says: str
) -> None:
    status, out, err = run("rulebook", "diff", *arguments)
    assert (status, out) == (2, "")
    assert says in err
    assert run("rulebook", "diff", "rules")[:2] == (0, "nothing changed\n")
    assert not list(here.glob("*.db*"))


def test_a_database_that_cannot_be_opened_does_not_keep_the_words_back(
    here: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    (here / "broken.db").write_text("not a database, and long enough to be seen as none" * 50)
    monkeypatch.setenv("BARRELWISE_DATABASE", "sqlite:///broken.db")
    status, out, err = run("rulebook", "diff", "rules")
    assert (status, out) == (0, "nothing changed\n")
    assert "no tickets are looked at" in err
