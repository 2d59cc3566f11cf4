"""The rulebook that serves now, changed for the next one without stopping anything.

Every few seconds a request asks which version is live. When that has changed, this one request loads the
new version while all others go on with the old one; from then on new requests get the new one. A request
keeps the version it started with until it ends. A version that cannot be loaded is not served: the old one
stays, and the fault is logged once.
"""

import logging
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook
from triage.values.errors import UnavailableError

POLL_SECONDS = 2.0

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Serving:
    """A rulebook and the engine compiled from it."""

    rulebook: Rulebook
    engine: Engine


class LiveRulebook:
    """`newest` gives the live version (None: none is), `load` makes it ready; `timer` counts seconds."""

    def __init__(
        self,
        serving: Serving,
        newest: Callable[[], str | None],
        load: Callable[[str], Serving],
        timer: Callable[[], float] = time.monotonic,
        poll_seconds: float = POLL_SECONDS,
    ) -> None:
        self._serving = serving
        self._newest = newest
        self._load = load
        self._timer = timer
        self._poll_seconds = poll_seconds
        self._next_poll = timer() + poll_seconds
        self._refused: str | None = None
        self._loading = threading.Lock()
        self._here = threading.local()

    def current(self) -> Serving:
        """What this thread's request started with; outside a request, what new requests get."""
        pinned: Serving | None = getattr(self._here, "pinned", None)
        return pinned or self._serving

    @contextmanager
    def one_version(self) -> Iterator[Serving]:
        """One request: inside, `current` does not change. A request within a request joins it."""
        if getattr(self._here, "pinned", None) is not None:
            yield self.current()
            return
        if self._timer() >= self._next_poll:
            self.refresh()
        self._here.pinned = self._serving
        try:
            yield self._serving
        finally:
            self._here.pinned = None

    def refresh(self) -> None:
        """Asks for the live version and loads it where it is another. Never raises for its sake."""
        if not self._loading.acquire(blocking=False):
            return  # another request is at it
        try:
            self._next_poll = self._timer() + self._poll_seconds
            version = self._newest()
            if version in (None, self._serving.rulebook.version, self._refused):
                return
            assert version is not None
            try:
                self._serving = self._load(version)
            except UnavailableError:
                raise  # that says nothing of the rulebook
            except Exception:
                self._refused = version
                raise
            self._refused = None
            log.info("rulebook %s serves now", version)
        except Exception:
            serving = self._serving.rulebook.version
            log.exception("the live rulebook cannot be loaded; %s goes on serving", serving)
        finally:
            self._loading.release()
