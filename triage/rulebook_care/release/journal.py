"""The file from which an interrupted replay goes on: a JSON line for the job, then one for each piece."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from triage.rulebook_care.release.piece import ReplayJob
from triage.store.owner_only import make_owner_only
from triage.values.errors import InputError, Problem
from triage.values.json_text import from_json, to_json


class Journal:
    """Pieces done so far, by number; `write` adds one. Used as a context manager.

    `job` is the one to carry out: a replay that goes on ends at the same time as when it was begun, so that
    its pieces are the same. Raises InputError when the file belongs to another replay.
    """

    def __init__(self, path: Path, job: ReplayJob, piece_size: int) -> None:
        self._path = path
        self.job = job
        self.done: Mapping[int, Mapping[str, Any]] = {}
        lines = _whole_lines(path)
        if lines:
            self.job = replace(job, until=_until(lines[0], _head(job, piece_size), path))
            self.done = {line["piece"]: line["tally"] for line in map(from_json, lines[1:])}
        else:
            lines = [to_json({**_head(job, piece_size), "until": job.until.isoformat()})]
        make_owner_only(path)
        # What a crash left half written is cut off.
        path.write_text("".join(f"{line}\n" for line in lines), encoding="ascii")
        self._stream = path.open("a", encoding="ascii")

    def write(self, piece: int, tally: Mapping[str, Any]) -> None:
        self._stream.write(to_json({"piece": piece, "tally": tally}) + "\n")
        self._stream.flush()

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stream.close()


def _head(job: ReplayJob, piece_size: int) -> dict[str, Any]:
    return {
        "baseline": job.baseline,
        "candidate": job.candidate,
        "since": None if job.since is None else job.since.isoformat(),
        "piece_size": piece_size,
    }


def _whole_lines(path: Path) -> list[str]:
    try:
        text = path.read_text(encoding="ascii")
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError):
        raise InputError(
            [Problem("this file cannot be read as a replay's; name another", file=str(path))]
        ) from None
    return text.split("\n")[:-1]


def _until(line: str, head: Mapping[str, Any], path: Path) -> datetime:
    try:
        found = dict(from_json(line))
        until = datetime.fromisoformat(found.pop("until"))
    except (ValueError, TypeError, KeyError):
        raise InputError([Problem("this file is not a replay's; name another", file=str(path))]) from None
    other = [name for name, value in head.items() if found.get(name) != value]
    if other:
        message = f"this file holds another replay ({', '.join(other)} differ); name another, or remove it"
        raise InputError([Problem(message, file=str(path))])
    return until
