"""`barrelwise rulebook publish|rollback|log`: one real change walked through all its steps."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.triage.cli.rulebook.test_replay import DANGER, candidate, record
from tests.triage.cli.test_main import Run, here, run, served
from triage.cli.shown.opened import opened_service

__all__ = ["here", "run"]

WHO = ("--by", "Ops lead", "--note", "The cord rule moves.")


def test_a_change_goes_from_replay_to_force_and_back_again(here: Path, run: Run) -> None:
    record(run)
    folder = candidate(here)
    status, _, err = run("rulebook", "publish", folder, *WHO)
    assert status == 2
    assert "was not replayed" in err
    assert run("rulebook", "replay", folder, "--jobs", "1")[0] == 0
    status, out, _ = run("rulebook", "publish", folder, *WHO)
    assert status == 0
    version = out.split()[-1]
    with opened_service() as service:  # of the old folder
        assert service.rulebook.version == version
        assert service.rulebook.title == "A candidate"
    status, out, _ = run("rulebook", "rollback", "--by", "Ops lead", "--note", "Not yet.")
    assert status == 0
    with opened_service() as service:
        assert out.split()[-1] == service.rulebook.version == service.given
    lines = json.loads(run("rulebook", "log", "--json")[1])
    assert [line["stage"] for line in lines] == [
        "rolled back",
        "published",
        "replayed",
        "checked",
        "published",
    ]
    shown = run("rulebook", "log")[1]
    assert "rolled back" in shown
    assert "Ops lead" in shown
    assert run("rulebook", "rollback", version[7:19], "--by", "Ops lead", "--note", "Now.")[0] == 0


def test_lost_safety_needs_an_outright_yes(here: Path, run: Run) -> None:
    record(run)
    folder = candidate(here, *DANGER)
    assert run("rulebook", "replay", folder, "--jobs", "1")[0] == 1
    status, _, err = run("rulebook", "publish", folder, *WHO)
    assert status == 2
    assert '--accept LOSS="REASON"' in err
    ids = re.findall(r"L-[0-9a-f]{10}", err)
    one_by_one = [text for id_ in ids for text in ("--accept", f"{id_}=The landlord sees to it.")]
    assert run("rulebook", "publish", folder, *WHO, *one_by_one[2:])[0] == 2
    assert run("rulebook", "publish", folder, *WHO, "--accept", ids[0])[0] == 2
    assert run("rulebook", "publish", folder, *WHO, *one_by_one)[0] == 0
    assert run("rulebook", "log")[1].count("accepted") == len(ids)


def test_check_and_diff_say_what_the_live_rulebook_did_for_safety(here: Path, run: Run) -> None:
    record(run)
    folder = candidate(here, *DANGER)
    for command in (("check", folder), ("diff", "live", folder)):
        out = run("rulebook", *command)[1]
        assert "cautions/damaged-cord.yml" in out
        assert "the caution “Damaged cord” is taken out" in out
    told = json.loads(run("rulebook", "diff", "live", folder, "--json")[1])["losses"]
    assert told == json.loads(run("rulebook", "check", folder, "--json")[1])["losses"]
    assert told[0]["edit"] == "cautions/damaged-cord.yml"


@pytest.mark.parametrize("missing", ["--by", "--note"])
def test_a_name_and_a_note_are_asked_for(here: Path, run: Run, missing: str) -> None:
    options = [text for name in ("--by", "--note") if name != missing for text in (name, "x")]
    for command in (("publish", candidate(here)), ("rollback",)):
        status, _, err = run("rulebook", *command, *options)
        assert status == 2
        assert missing in err


def test_a_folder_that_is_edited_serves_only_once_it_is_published(
    here: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    record(run)
    with opened_service() as service:
        before = service.rulebook.version
    path = here / "rules" / "rulebook.yml"
    path.write_text('{"title": "Edited", "currency": "USD"}')
    _, err = served(run, monkeypatch)
    assert f"rulebook {before}" in err
    assert "is another, not live" in err
    path.write_text("title: [half an edit")
    _, err = served(run, monkeypatch)
    assert f"rulebook {before}" in err
    assert "cannot be read" in err
    with opened_service() as service:
        assert service.rulebook.version == before
