"""What whoever watches a database is told: every statement with its time, and how large it is."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, event

Observe = Callable[[str, float], None]
"""Told a statement, without its values, and the seconds that it took."""


@dataclass(frozen=True, slots=True)
class Watched:
    engine: Engine

    def tell(self, observe: Observe) -> None:
        """Tells `observe` of every statement from now on, in the thread that asked."""

        def before(*given: Any) -> None:
            given[4]._barrelwise_began = time.perf_counter()

        def after(*given: Any) -> None:
            observe(given[2], time.perf_counter() - given[4]._barrelwise_began)

        event.listen(self.engine, "before_cursor_execute", before)
        event.listen(self.engine, "after_cursor_execute", after)

    @property
    def folder(self) -> Path | None:
        """Where a database in a file is; None for a server's and for one in memory."""
        name = self.engine.url.database or ""
        if self.engine.dialect.name != "sqlite" or name in ("", ":memory:") or name.startswith("file:"):
            return None
        return Path(name).resolve().parent

    def size_bytes(self) -> int:
        """What the database takes on its disk, SQLite's log included; 0 in memory."""
        if self.engine.dialect.name == "postgresql":
            with self.engine.connect() as connection:
                found = connection.exec_driver_sql("SELECT pg_database_size(current_database())")
                return int(found.scalar_one())
        folder, name = self.folder, Path(self.engine.url.database or "").name
        files = [] if folder is None else [folder / f"{name}{ending}" for ending in ("", "-wal")]
        return sum(file.stat().st_size for file in files if file.exists())
