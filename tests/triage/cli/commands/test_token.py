"""Tokens on the command line: each role with what it is tied to."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from triage.cli.main import barrelwise, run


@pytest.fixture(autouse=True)
def database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BARRELWISE_DATABASE", f"sqlite:///{tmp_path / 'tokens.db'}")
    monkeypatch.setenv("BARRELWISE_ENGINE", "plain")


def listed() -> list[dict[str, Any]]:
    said = CliRunner().invoke(barrelwise, ["token", "list", "--json"], catch_exceptions=False)
    found: list[dict[str, Any]] = json.loads(said.stdout)
    return found


def test_an_authoritys_token_names_one_of_the_rulebook() -> None:
    assert run(["token", "add", "Ines Marsh", "--role", "authority", "--authority", "area_manager"]) == 0
    assert [(one["name"], one["role"], one["authority"]) for one in listed()] == [
        ("Ines Marsh", "authority", "area_manager")
    ]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--role", "authority"], "names which of the rulebook's"),
        (["--role", "ops", "--authority", "area_manager"], "no other token does"),
        (["--role", "authority", "--authority", "area_manger"], 'did you mean "area_manager"'),
    ],
)
def test_any_other_is_refused(arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["token", "add", "somebody", *arguments]) == 2
    assert said in capsys.readouterr().err
    assert listed() == []
