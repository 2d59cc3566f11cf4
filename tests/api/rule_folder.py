"""A copy of the default rulebook's folder that many tests may change, each finding it whole."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests import RULES
from triage.rulebook_care.editing.check_process import CheckProcess

PATIENCE_SECONDS = 300
"""Only a broken test waits so long; on a busy machine a check may take far more than the usual seconds."""


@contextmanager
def rule_folder(place: Path) -> Iterator[tuple[Path, CheckProcess]]:
    """A copy of the default rulebook within `place`, and the process that checks it."""
    folder = Path(shutil.copytree(RULES, place / "rules"))
    process = CheckProcess(
        folder,
        check_seconds=PATIENCE_SECONDS,
        cases_seconds=PATIENCE_SECONDS,
        start_seconds=PATIENCE_SECONDS,
    )
    try:
        yield folder, process
    finally:
        process.close()


def make_whole(folder: Path) -> None:
    """Puts every file back as it was, and takes out what is new."""
    for path in folder.rglob("*.yml"):
        if not (RULES / path.relative_to(folder)).is_file():
            path.unlink()
    for path in RULES.rglob("*.yml"):
        copied = folder / path.relative_to(RULES)
        if not copied.is_file() or copied.read_bytes() != path.read_bytes():
            shutil.copyfile(path, copied)
