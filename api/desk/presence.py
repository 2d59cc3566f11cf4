"""Who has a ticket open right now, by recent page loads; kept in the database, for all processes that serve.

It is a hint and guards nothing: what guards a ticket is its version. So it is written rarely.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from triage.store import Store

RECENT = timedelta(minutes=2)
NOTED_AGAIN_AFTER = timedelta(seconds=5)
KEPT = timedelta(minutes=10)


class Presence:
    def __init__(self, store: Store) -> None:
        self._store = store

    def others(self, ticket: str, who: str, now: datetime) -> Sequence[str]:
        """Notes that `who` looks at the ticket, and names everyone else who did in the last two minutes."""
        with self._store.read() as work:
            seen = work.presences.seen(ticket, now - RECENT)
        noted = seen.pop(who, None)
        if noted is None or now - noted >= NOTED_AGAIN_AFTER:
            with self._store.write() as work:
                work.presences.note(ticket, who, now)
                work.presences.forget(now - KEPT)
        return sorted(seen)
