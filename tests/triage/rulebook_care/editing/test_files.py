"""The rulebook's folder edited one text at a time, with nobody's work lost."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests import RULES
from triage.rulebook_care.editing.check import FolderCheck
from triage.rulebook_care.editing.files import ChangedOnDisk, WorkFolder, as_saved
from triage.values.errors import InputError, NotFoundError

FILE = "evidence/filter-overdue.yml"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(RULES, tmp_path / "rules", ignore=shutil.ignore_patterns("*.md")))


def test_a_text_is_saved_byte_for_byte_with_its_comments_and_lf(folder: Path) -> None:
    work = WorkFolder(folder)
    opened = work.read(FILE)
    typed = "# a remark\r\n" + opened.text.replace("\n", "\r\n")
    saved = work.save(FILE, typed, opened.sha256)
    assert (folder / FILE).read_bytes() == b"# a remark\n" + opened.text.encode()
    assert work.read(FILE) == saved
    assert [path.name for path in (folder / "evidence").iterdir() if path.name.startswith(".")] == []


def test_what_was_changed_on_disk_meanwhile_is_kept_and_shown(folder: Path) -> None:
    work = WorkFolder(folder)
    opened = work.read(FILE)
    (folder / FILE).write_text("title: theirs\n")
    with pytest.raises(ChangedOnDisk) as refused:
        work.save(FILE, "title: mine\n", opened.sha256)
    assert refused.value.now is not None
    assert refused.value.now.text == "title: theirs\n"
    assert (folder / FILE).read_text() == "title: theirs\n"
    with pytest.raises(ChangedOnDisk):
        work.delete(FILE, opened.sha256)
    with pytest.raises(ChangedOnDisk):
        work.save(FILE, "new", None)


@pytest.mark.parametrize(
    "path", ["../x.yml", "facts/../rates.yml", "/etc/passwd", "facts/.x.yml", "README.md", "facts/a/b.yml"]
)
def test_only_a_rulebooks_own_files_are_opened(folder: Path, path: str) -> None:
    with pytest.raises(NotFoundError):
        WorkFolder(folder).read(path)


def test_a_link_is_not_followed(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("x")
    (folder / "facts/linked.yml").symlink_to(tmp_path / "secret")
    with pytest.raises(InputError, match="link"):
        WorkFolder(folder).read("facts/linked.yml")


def test_a_mistake_is_found_at_its_line_and_the_findings_come_with_a_text_that_reads(folder: Path) -> None:
    check, work = FolderCheck(folder), WorkFolder(folder)
    text = work.read(FILE).text
    wrong = check.check(FILE, as_saved(text.replace("dirty_filter:", "dirty_filtre:")))
    assert not wrong.ok
    (problem,) = wrong.problems
    assert text.splitlines()[(problem.line or 0) - 1].startswith("  seen_with: {dirty_filter")
    assert "dirty_filter" in problem.message
    assert check.check(FILE, as_saved(text)).ok
    without = check.check("facts/filter_days.yml", None)
    assert FILE in {problem.file for problem in without.elsewhere}
