"""What an edit not saved yet would change: the newest tickets decided again, in the folder's process."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.editing.check_process import CheckProcess, folder_check
from triage.rulebook_care.release.piece import Ready, ReplayJob, ready, tally_of
from triage.rulebook_care.release.replay import as_data, summed_up
from triage.rulebook_care.release.tally import tally_from_data
from triage.rulebook_care.safety.loss import loss_from_data
from triage.rulebook_care.safety.weakening import weakened
from triage.store.tables.replay_runs import RecordedDecision
from triage.values.json_text import from_json, to_json

MOST_TICKETS = 60
"""Tickets that an edit is tried on while somebody waits; a replay takes them all."""
SECONDS = 30.0


def would_change(
    checks: CheckProcess,
    file: str,
    content: bytes,
    baseline: str,
    files: Mapping[str, object],
    recorded: Sequence[RecordedDecision],
    now: datetime,
) -> Mapping[str, Any]:
    """What the folder, `file` holding this content, decides otherwise than the version `baseline`.

    JSON data as `replay.as_data` gives it. Raises InputError where the folder cannot be read so.
    """
    job = ReplayJob("", baseline, "", None, now)
    found = from_json(checks.ask(SECONDS, _tally, file, content, baseline, to_json(dict(files)), recorded))
    weaker = tuple(map(loss_from_data, found["weaker"]))
    return as_data(summed_up(job, tally_from_data(found["tally"]), weaker))


def _tally(
    folder: Path,
    file: str,
    content: bytes,
    baseline: str,
    files_json: str,
    recorded: Sequence[RecordedDecision],
) -> str:
    candidate = ready(folder_check(folder).rulebook(file, content))
    before = _baseline(baseline, files_json)
    weaker = [loss.as_data() for loss in weakened(before.rulebook, candidate.rulebook)]
    return to_json({"tally": tally_of(recorded, before, candidate).as_data(), "weaker": weaker})


@lru_cache(maxsize=1)
def _baseline(version: str, files_json: str) -> Ready:
    return ready(rulebook_from_data(from_json(files_json), version))
