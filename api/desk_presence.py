"""Who has a ticket open right now, by recent page loads; kept in the memory of this process only.

A restart forgets it, which costs no more than a missing hint: what guards a ticket is its version.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from threading import Lock

RECENT = timedelta(minutes=2)


class Presence:
    def __init__(self) -> None:
        self._lock = Lock()
        self._seen: dict[str, dict[str, datetime]] = {}

    def others(self, ticket: str, who: str, now: datetime) -> Sequence[str]:
        """Notes that `who` looks at the ticket, and names everyone else who did in the last two minutes."""
        with self._lock:
            self._forget(now)
            here = self._seen.setdefault(ticket, {})
            here[who] = now
            return sorted(name for name in here if name != who)

    def _forget(self, now: datetime) -> None:
        for ticket, here in list(self._seen.items()):
            for who, at in list(here.items()):
                if now - at > RECENT:
                    del here[who]
            if not here:
                del self._seen[ticket]
