"""`barrelwise triage` reads one report, or one a line; with --json all is JSON, what is wrong as well."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

from tests.triage.cli.test_main import AT, Run, here, run
from tests.triage.services import REPORT
from triage.cli import main as command_line

__all__ = ["here", "run"]

GOOD = {**REPORT, "machine": None}
LINES = "\n".join(
    [json.dumps(GOOD), "", json.dumps({**GOOD, "symptoms": ["leeking"]}), json.dumps(GOOD), "{"]
)


def type_in(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode())))


def test_a_report_comes_from_standard_input(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    type_in(monkeypatch, json.dumps(GOOD, indent=1))
    status, out, _ = run("triage", "-", "--at", AT, "--json")
    assert (status, json.loads(out)["outcome"]) == (0, "fix_in_store")


def test_of_several_each_is_answered_in_its_place(run: Run, here: Path) -> None:
    (here / "reports.jsonl").write_text(LINES)
    status, out, err = run("triage", "reports.jsonl", "--at", AT, "--json")
    first, wrong, third, broken = map(json.loads, out.splitlines())
    assert (status, err) == (2, "")
    assert (first["outcome"], third) == ("fix_in_store", first)
    assert wrong["problems"][0]["file"] == "reports.jsonl:3"
    assert 'did you mean "leaking"' in wrong["problems"][0]["message"]
    assert broken["problems"][0]["file"] == "reports.jsonl:5"

    status, out, err = run("triage", "reports.jsonl", "--at", AT)
    assert (status, out.count("Fix in store")) == (2, 2)
    assert ("reports.jsonl:4:" in out, "reports.jsonl:3: /symptoms" in err) == (True, True)


def test_several_without_a_mistake_are_done(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    type_in(monkeypatch, f"{json.dumps(GOOD)}\n{json.dumps(GOOD)}\n")
    status, out, _ = run("triage", "-", "--at", AT, "--json")
    assert (status, len(out.splitlines())) == (0, 2)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("triage", "nowhere.json"), "nowhere.json"),
        (("explain", "T-999999"), "T-999999"),
        (("load", "nowhere"), "nowhere is not a folder"),
        (("token", "add", "x", "--role", "king"), "king"),
        (("token", "revoke", "nobody"), "nobody"),
        (("rulebook", "publish", "rules", "--by", "x"), "--note"),
        (("rulebook", "retire", "facts", "moon"), "moon"),
        (("rulebook", "cases", "nowhere"), "nowhere"),
    ],
)
def test_with_json_what_is_wrong_is_json_too(run: Run, arguments: tuple[str, ...], says: str) -> None:
    status, out, err = run(*arguments, "--json")
    told = json.loads(out)
    assert (status, told["status"]) == (2, 2)
    assert says in str(told["problems"]), err


def test_with_json_what_was_done_is_json_too(run: Run, here: Path) -> None:
    def done(*arguments: str) -> object:
        status, out, _ = run(*arguments, "--json")
        assert status == 0
        return json.loads(out)

    run("token", "add", "desk", "--role", "agent")
    assert done("token", "revoke", "desk") == {"name": "desk", "revoked": True}
    added = done("webhook", "add", "books", "https://books.example/hook")
    assert isinstance(added, dict) and added.keys() == {"name", "url", "secret"}
    assert done("webhook", "remove", "books") == {"name": "books", "removed": True}
    assert done("deliver") == {"delivered": 0, "failed": 0}
    assert done("rulebook", "new", "facts", "moon_phase") == {"file": str(Path("rules/facts/moon_phase.yml"))}
    loaded = done("load", "records", "--dry-run")
    assert isinstance(loaded, dict)
    assert loaded["counts"]["machines"] == {"new": 1, "changed": 0, "same": 0, "rejected": 0}
    assert loaded["stored"] is False


def test_a_dry_run_of_bad_rows_says_them_and_counts_the_others(run: Run, here: Path) -> None:
    with (here / "records/machines.csv").open("a") as stream:
        stream.write("LH20-2,LH-20,soon,halt-001,fogline\n")
    status, out, err = run("load", "records", "--dry-run")
    assert status == 2
    assert "machines    1 new, 0 changed, 0 same, 1 rejected" in out
    assert "Nothing was stored." in out
    assert "machines.csv:3:14: shipped_on" in err


def test_somebody_at_a_terminal_is_asked_before_a_rulebook_goes_live(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    back = ("rulebook", "rollback", "--by", "Ops lead", "--note", "Not yet.")
    monkeypatch.setattr(sys, "stdin", Terminal("n\n"))
    status, _, err = run(*back)
    assert (status, "live at once, everywhere? [y/N]" in err) == (130, True)
    monkeypatch.setattr(sys, "stdin", Terminal(""))
    assert "everywhere?" not in run(*back, "--yes")[2]


def test_a_shell_completes_commands_without_reading_a_rulebook(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("_BARRELWISE_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", "barrelwise rulebook pub")
    monkeypatch.setenv("COMP_CWORD", "2")
    with pytest.raises(SystemExit):
        command_line.run([])
    assert capsys.readouterr().out == "plain,publish\n"
