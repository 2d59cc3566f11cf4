"""`barrelwise report` as people call it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests import RULES
from triage.cli.main import run


@pytest.fixture(autouse=True)
def _settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BARRELWISE_DATABASE", f"sqlite:///{tmp_path / 'report.db'}")
    monkeypatch.setenv("BARRELWISE_RULEBOOK", str(RULES))
    monkeypatch.setenv("BARRELWISE_ENGINE", "plain")


def test_it_writes_one_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "report.html"
    assert run(["report", "--month", "2026-10", "--out", str(out)]) == 0
    assert f"wrote {out}" in capsys.readouterr().out
    assert "Thu 1 Oct – Sat 31 Oct" in out.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("month", "out", "said"),
    [
        ("October", "r.html", "write a month"),
        ("2026-13", "r.html", "write a month"),
        ("2026-10", "no/r.html", "cannot be written"),
    ],
)
def test_what_cannot_be_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], month: str, out: str, said: str
) -> None:
    assert run(["report", "--month", month, "--out", str(tmp_path / out)]) == 2
    assert said in capsys.readouterr().err


def test_the_numbers_are_printed_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["report", "--month", "2026-10", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["since"], found["until"], found["opened"]) == ("2026-10-01", "2026-10-31", 0)
    assert run(["report", "--month", "2026-10"]) == 2
    assert "--out" in capsys.readouterr().err
