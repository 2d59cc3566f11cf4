"""A rulebook that was read before is remembered by its content, and nothing else ever stands for it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from tests import RULES
from tests.triage.cli.test_main import write_rulebook
from tests.triage.services import rulebook_files
from triage.cli.shown.remembered import KEPT, read_remembered
from triage.rulebook.model import Rulebook
from triage.rulebook.reading import reader
from triage.values.errors import RulebookError


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "barrelwise"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_rulebook(tmp_path / "rules", rulebook_files())


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """The folders whose YAML was read."""
    folders: list[Path] = []
    real = reader.read_with_files

    def noted(folder: Path, read_one: object) -> tuple[Rulebook, Mapping[str, object]]:
        folders.append(folder)
        return real(folder, read_one)

    monkeypatch.setattr(reader, "read_with_files", noted)
    return folders


def test_the_default_rulebook_is_remembered_as_it_was_read(cache: Path, read: list[Path]) -> None:
    first, second = read_remembered(RULES)[0], read_remembered(RULES)[0]
    assert read == [RULES]
    assert second == first == reader.read_rulebook(RULES)


def test_any_change_is_read(cache: Path, folder: Path, read: list[Path]) -> None:
    read_remembered(folder)
    file = next(folder.glob("causes/*.yml"))
    text = file.read_bytes()
    file.write_bytes(text + b"\n# a note\n")
    read_remembered(folder)
    file.write_bytes(text)
    read_remembered(folder)
    assert len(read) == 2
    file.rename(file.with_name("other.yml"))
    with pytest.raises(RulebookError):
        read_remembered(folder)
    assert len(read) == 3


@pytest.mark.parametrize("kind", ["folder", "link"])
def test_what_is_no_file_is_found_as_ever(cache: Path, folder: Path, kind: str) -> None:
    read_remembered(folder)
    odd = folder / "causes" / "odd.yml"
    odd.mkdir() if kind == "folder" else odd.symlink_to(folder / "facts")
    with pytest.raises(RulebookError, match="folder"):
        read_remembered(folder)


def test_a_fault_is_told_each_time(cache: Path, folder: Path) -> None:
    (folder / "causes" / "half.yml").write_text("id: half\ntitle: [\n")
    said = []
    for _ in range(2):
        with pytest.raises(RulebookError) as caught:
            read_remembered(folder)
        said.append([str(problem) for problem in caught.value.problems])
    assert said[0] == said[1]
    assert any("half.yml" in problem for problem in said[0])
    assert len([*cache.iterdir()]) == 1  # the files that are whole, parsed


def test_what_was_spoiled_is_read_anew(cache: Path, folder: Path, read: list[Path]) -> None:
    version = read_remembered(folder)[0].version
    whole = {kept: kept.read_bytes() for kept in cache.iterdir()}
    assert all(b"Rinse filter" in each for each in whole.values())
    for spoil in (lambda _: b"", lambda each: each[:-1], lambda each: each.replace(b"Rinse", b"Stuff")):
        before = len(read)
        for kept, content in whole.items():
            kept.write_bytes(spoil(content))
        assert read_remembered(folder)[0].version == version
        assert len(read) == before + 1
    assert {kept: kept.read_bytes() for kept in cache.iterdir()} == whole


def test_one_file_that_changed_is_parsed_alone(cache: Path, folder: Path) -> None:
    read_remembered(folder)
    file = next(folder.glob("causes/*.yml"))
    file.write_bytes(file.read_bytes() + b"\n# a note\n")
    (folder / "symptoms" / "x.yml").write_text("id: y\n")
    with pytest.raises(RulebookError) as caught:
        read_remembered(folder)
    with pytest.raises(RulebookError) as anew:
        reader.read_rulebook(folder)
    assert caught.value.problems == anew.value.problems  # places included


def test_a_folder_that_others_can_write_to_is_not_used(cache: Path, folder: Path, read: list[Path]) -> None:
    cache.mkdir(parents=True)
    cache.chmod(0o777)
    for _ in range(2):
        read_remembered(folder)
    assert len(read) == 2
    assert list(cache.iterdir()) == []


def test_only_the_last_few_are_kept(cache: Path, folder: Path) -> None:
    for number in range(KEPT + 2):
        (folder / "README.md").write_text(str(number))
        read_remembered(folder)
    assert len(list(cache.iterdir())) == KEPT
