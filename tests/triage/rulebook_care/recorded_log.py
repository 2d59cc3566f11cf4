"""A programme with some recorded and some closed tickets, for replays."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from tests.triage.programmes import AGENT, NOON, REPORT, rulebook_files, running_programme
from triage.rulebook.reading.reader import version_of
from triage.rulebook_care.release.piece import ReplayJob
from triage.service.service import Programme
from triage.store.tables.tickets import NewEvent

LATER = datetime(2026, 6, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Log:
    """The programme, and the URL of its database."""

    programme: Programme
    url: str

    def close(self, ticket: str, cause: str | None) -> None:
        with self.programme.store.write() as work:
            closed = NewEvent("closed", {"cause": cause, "cured_by": None, "cost": "120.00 USD"})
            version = self.programme.rulebook.version
            work.tickets.append(ticket, [closed], at=NOON, who="desk", rulebook=version)

    def keep(self, files: Mapping[str, object]) -> str:
        version = version_of(files)
        with self.programme.store.write() as work:
            work.rulebooks.keep(version, files)
        return version

    def job(self, candidate: Mapping[str, object], since: datetime | None = None) -> ReplayJob:
        return ReplayJob(self.url, self.programme.rulebook.version, self.keep(candidate), since, LATER)


@contextmanager
def recorded_log(folder: Path, files: dict[str, object] | None = None) -> Iterator[Log]:
    """Six tickets: T-000001 to 4 not freezing (the first answered twice), 5 leaking, 6 with a damaged cord.

    The first two are closed with a dirty filter, the third without a cause.
    """
    with running_programme(folder, files=files or rulebook_files()) as programme:
        log = Log(programme, f"sqlite:///{folder / 'programme.db'}")
        for days in (40, 30, 2, 20):
            programme.open_ticket({**REPORT, "answers": {"filter_days": days}}, AGENT)
        programme.answer("T-000001", {"fill_level": 70}, AGENT)
        programme.open_ticket({**REPORT, "machine": "LH30-2", "symptoms": ["leaking"], "answers": {}}, AGENT)
        programme.open_ticket({**REPORT, "answers": {"cord_damaged": True}}, AGENT)
        log.close("T-000001", "dirty_filter")
        log.close("T-000002", "dirty_filter")
        log.close("T-000003", None)
        yield log
