"""The machine search behind the find page: the index is made at first use and again when it is old."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import cast

from flask import current_app

from triage.inputs.machine_search import MachineFound, MachineIndex, find_machines, index_machines
from triage.service.machines import listed_machines, machine_count
from triage.service.service import Service

FRESH = timedelta(minutes=5)
"""Machines loaded meanwhile show at once when their number changes, else after this time."""

FINDER = "barrelwise_desk"
"""The app's extension that finds machines."""


class MachineFinder:
    def __init__(self, service: Service) -> None:
        self._service = service
        self._lock = threading.Lock()
        self._index: MachineIndex | None = None
        self._made_at: datetime | None = None

    def find(self, query: str, at_most: int = 12) -> Sequence[MachineFound]:
        return find_machines(self.index, query, at_most)

    @property
    def index(self) -> MachineIndex:
        now = self._service.now()
        with self._lock:
            index, made_at = self._index, self._made_at
            if index is None or made_at is None or len(index.machines) != machine_count(self._service):
                return self._make(now)
            if now - made_at > FRESH:
                if not self._service.is_shared:
                    return self._make(now)
                self._made_at = now
                self.make_aside()
            return index

    def make_aside(self) -> None:
        """Makes the index in a thread of its own; until it is done the old one serves, if there is one."""
        threading.Thread(target=self._make, args=(self._service.now(),), daemon=True).start()

    def _make(self, now: datetime) -> MachineIndex:
        index = index_machines(listed_machines(self._service))
        self._index, self._made_at = index, now
        return index


def finder() -> MachineFinder:
    """The one of this app."""
    return cast(MachineFinder, current_app.extensions[FINDER])
