"""`barrelwise rulebook tables-out|tables-in`, as they are called."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.triage.cli.test_main import write_rulebook
from tests.triage.services import rulebook_files
from triage.cli.main import run as run_command
from triage.rulebook.reading.reader import read_rulebook

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    write_rulebook(tmp_path / "rules", rulebook_files())
    monkeypatch.chdir(tmp_path)

    def call(*arguments: str) -> tuple[int, str, str]:
        status = run_command(["rulebook", *arguments])
        output = capsys.readouterr()
        return status, output.out, output.err

    return call


def texts(folder: Path) -> dict[str, str]:
    return {str(path.relative_to(folder)): path.read_text() for path in sorted(folder.rglob("*.yml"))}


def test_out_and_in_again_changes_no_file(run: Run, tmp_path: Path) -> None:
    before = texts(tmp_path / "rules")
    status, out, err = run("tables-out", "rules", "--out", "tables.dmn")
    assert (status, out) == (0, "")
    assert err.endswith("tables.dmn is written\n")
    assert run("tables-in", "tables.dmn", "rules") == (0, "", "nothing changes\n")
    assert texts(tmp_path / "rules") == before


def test_an_edit_is_said_in_words_first_and_then_taken_in(run: Run, tmp_path: Path) -> None:
    run("tables-out", "rules", "--out", "tables.dmn", "--table", "standing")
    file, before = tmp_path / "tables.dmn", texts(tmp_path / "rules")
    text = file.read_text()
    assert text.count("<text>350</text>") == 1
    file.write_text(text.replace("<text>350</text>", "<text>365.5</text>"))
    status, out, err = run("tables-in", "tables.dmn", "rules", "--dry-run")
    assert (status, err) == (1, "1 file would change\n")
    assert out.startswith("limits/standing.yml: ")
    assert out.rstrip().endswith("365.5")
    assert texts(tmp_path / "rules") == before
    status, said, err = run("tables-in", "tables.dmn", "rules")
    assert (status, said) == (0, out)
    assert err == f"1 file changed; now {read_rulebook(tmp_path / 'rules').version}\n"
    after = texts(tmp_path / "rules")
    assert [name for name in after if after[name] != before[name]] == ["limits/standing.yml"]


def test_what_is_wrong_is_told_with_its_line_and_nothing_is_written(run: Run, tmp_path: Path) -> None:
    run("tables-out", "rules", "--out", "tables.dmn")
    file, before = tmp_path / "tables.dmn", texts(tmp_path / "rules")
    file.write_text(file.read_text().replace("amount_USD", "amount_CAD"))
    status, out, err = run("tables-in", "tables.dmn", "rules")
    assert (status, out) == (2, "")
    assert err.startswith("tables.dmn:")
    assert "CAD" in err
    assert texts(tmp_path / "rules") == before


def test_a_table_that_is_not_there_and_a_file_that_is_not_there_are_told(run: Run) -> None:
    assert run("tables-out", "rules", "--out", "x.dmn", "--table", "nope")[0] == 2
    status, _, err = run("tables-in", "none.dmn", "rules")
    assert (status, err) == (2, "none.dmn: the file cannot be read (No such file or directory)\n")
