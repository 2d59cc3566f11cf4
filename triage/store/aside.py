"""Writes that nobody waits for: that a token or a session was used. What fails is tried at the next use."""

import logging
import threading
from collections.abc import Callable

from sqlalchemy.exc import DBAPIError

from triage.store.engine import Store
from triage.store.work import Work
from triage.values.errors import UnavailableError

log = logging.getLogger(__name__)


class Aside:
    """Writes of one store. Requests go on while another program holds the database, or its disk is full."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._under_way: dict[str, threading.Thread] = {}

    def write(self, key: str, change: Callable[[Work], None]) -> None:
        """Carries `change` out in a thread of its own, one at a time for a `key`.

        A database in memory has one connection and no other program: there it is carried out at once.
        """
        if not self._store.can_be_shared:
            self._try(key, change)
        elif key not in self._under_way:
            thread = threading.Thread(target=self._try, args=(key, change), daemon=True)
            self._under_way[key] = thread
            thread.start()

    def finish(self) -> None:
        """Waits for what is under way."""
        for thread in tuple(self._under_way.values()):
            thread.join()

    def _try(self, key: str, change: Callable[[Work], None]) -> None:
        try:
            with self._store.write() as work:
                change(work)
        except (DBAPIError, UnavailableError, OSError) as error:  # OSError: the store was closed meanwhile
            log.warning("a use could not be noted: %s", error)
        finally:
            self._under_way.pop(key, None)
