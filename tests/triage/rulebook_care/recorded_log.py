"""A program with some recorded and some closed tickets, for replays."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from tests.triage.payloads import close_out
from tests.triage.services import AGENT, NOON, REPORT, rulebook_files, running_service
from triage.rulebook.reading.reader import version_of
from triage.rulebook_care.release.piece import ReplayJob
from triage.service import tickets
from triage.service.service import Service

LATER = datetime(2026, 6, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Log:
    """The program, and the URL of its database."""

    service: Service
    url: str

    def close(self, ticket: str, cause: str | None) -> None:
        with self.service.store.write() as work:
            closed = close_out(cause)
            version = self.service.rulebook.version
            work.tickets.append(ticket, [closed], at=NOON, who="desk", rulebook=version)

    def keep(self, files: Mapping[str, object]) -> str:
        version = version_of(files)
        with self.service.store.write() as work:
            work.rulebooks.keep(version, files)
        return version

    def job(self, candidate: Mapping[str, object], since: datetime | None = None) -> ReplayJob:
        return ReplayJob(self.url, self.service.rulebook.version, self.keep(candidate), since, LATER)


@contextmanager
def recorded_log(folder: Path, files: dict[str, object] | None = None) -> Iterator[Log]:
    """Six tickets: T-000001 to 4 not freezing (the first answered twice), 5 leaking, 6 with a damaged cord.

    The first two are closed with a dirty filter, the third without a cause.
    """
    with running_service(folder, files=files or rulebook_files()) as service:
        log = Log(service, f"sqlite:///{folder / 'program.db'}")
        for days in (40, 30, 2, 20):
            tickets.open_ticket(service, {**REPORT, "answers": {"filter_days": days}}, AGENT)
        tickets.answer(service, "T-000001", {"fill_level": 70}, AGENT)
        tickets.open_ticket(
            service, {**REPORT, "machine": "LH30-2", "symptoms": ["leaking"], "answers": {}}, AGENT
        )
        tickets.open_ticket(service, {**REPORT, "machine": None, "answers": {"cord_damaged": True}}, AGENT)
        log.close("T-000001", "dirty_filter")
        log.close("T-000002", "dirty_filter")
        log.close("T-000003", None)
        yield log
