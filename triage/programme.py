"""The programme: the one service behind the API and the command line.

It reads records, runs the pipeline and appends to tickets; each method is one transaction, and bad input
raises InputError before anything is stored. What a technician may not see is not found (NotFoundError).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from triage.caller import Caller, Role
from triage.decision_record import Decision
from triage.inference_engine import Engine
from triage.report import History, Machine
from triage.rulebook import Rulebook
from triage.store import Store
from triage.ticket import Event, Ticket

__all__ = ["Answer", "Caller", "Explanation", "MachineView", "Page", "Programme", "Role"]

Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Page:
    """Tickets, newest first; `next_cursor` is None on the last page."""

    tickets: tuple[Ticket, ...]
    next_cursor: str | None


@dataclass(frozen=True, slots=True)
class MachineView:
    """A machine's record, what happened to it, and its tickets, newest first."""

    machine: Machine
    history: History
    tickets: tuple[Ticket, ...]


@dataclass(frozen=True, slots=True)
class Explanation:
    """A decision as it was recorded and made again with its own rulebook and its own inputs."""

    ticket: Ticket
    recorded: Data
    again: Decision
    identical: bool
    differs: tuple[str, ...]  # JSON pointers where the two part


@dataclass(frozen=True, slots=True)
class Answer:
    """What a request was answered with, kept under its idempotency key."""

    status: int
    body: Data
    headers: Mapping[str, str]
    repeated: bool = False


class Programme:
    """`clock` gives the current timezone-aware time."""

    def __init__(
        self, store: Store, rulebook: Rulebook, engine: Engine, clock: Callable[[], datetime]
    ) -> None: ...

    def triage_once(self, data: Data, machine_data: Data | None = None) -> Decision: ...

    def open_ticket(self, data: Data, who: Caller) -> Ticket: ...

    def answer(
        self, ticket_id: str, answers: Data, who: Caller, if_version: int | None = None
    ) -> Ticket: ...

    def record_check(
        self, ticket_id: str, check: str, result: str, who: Caller, if_version: int | None = None
    ) -> Ticket: ...

    def ticket(self, ticket_id: str, viewer: Caller) -> Ticket: ...

    def tickets(
        self,
        viewer: Caller,
        filters: Mapping[str, str] | None = None,  # state, outcome, machine, site
        cursor: str | None = None,
        limit: int = 50,
    ) -> Page: ...

    def events(self, ticket_id: str, viewer: Caller) -> Sequence[Event]: ...

    def machine(self, serial: str, viewer: Caller) -> MachineView: ...

    def limits(
        self, serial: str, contractor: str | None, at: datetime | None, viewer: Caller
    ) -> Data: ...

    def record_care(self, serial: str, data: Data, who: Caller) -> MachineView: ...

    def explain(self, ticket_id: str, viewer: Caller | None = None) -> Explanation: ...

    def caller_for(self, token: str) -> Caller | None: ...

    def health(self) -> Data: ...

    def once(
        self, key: str, caller: Caller, request_hash: str, action: Callable[[], Answer]
    ) -> Answer: ...
