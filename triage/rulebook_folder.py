"""A rulebook together with its files as plain data, so that it can be stored whole beside its decisions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from triage.rulebook import Rulebook
from triage.rulebook_reader import read_rulebook
from triage.yaml_source import read_yaml


@dataclass(frozen=True, slots=True)
class RulebookWithFiles:
    """`files`: relative path -> plain data, from which `rulebook_from_data` makes the same rulebook."""

    rulebook: Rulebook
    files: Mapping[str, object]


def read_with_files(folder: Path) -> RulebookWithFiles:
    """Raises RulebookError with every problem of the folder."""
    rulebook = read_rulebook(folder)
    files: dict[str, object] = {}
    for path in sorted(folder.rglob("*.yml")):
        file = path.relative_to(folder).as_posix()
        hidden = any(part.startswith(".") for part in file.split("/"))
        if not hidden and not path.name.upper().startswith("README"):
            files[file] = read_yaml(path.read_bytes(), file).data
    return RulebookWithFiles(rulebook, files)
