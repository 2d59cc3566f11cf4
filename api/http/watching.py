"""What each request was and took, for whoever watches: a line in the log, and counts for Prometheus.

The counts are the whole server's. Where several processes answer they keep them in files of one folder
(`count_in`, called before this module is imported), and whichever is asked adds them up. Routes
stand for paths: what a caller searched for, and links that are valid once, get into no log.
"""

import logging
import re
import secrets
import time
from pathlib import Path
from typing import Any

from flask import Flask, Response, g, has_request_context, request
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.multiprocess import MultiProcessCollector, mark_process_dead

from triage.config import counts_together

log = logging.getLogger(__name__)

OWN = CollectorRegistry()
"""What this process counted."""
BUCKETS = (0.01, 0.025, 0.05, 0.1, 0.2, 0.5, 1, 2.5, 5, 10, 30, 120)
ROUTE = ("method", "route")
REQUESTS = Counter("barrelwise_requests", "Requests answered", (*ROUTE, "status"), registry=OWN)
SECONDS = Histogram("barrelwise_request_seconds", "What they took", ROUTE, buckets=BUCKETS, registry=OWN)
BY_WORKER = Gauge(
    "barrelwise_worker_requests", "Answered by each process", multiprocess_mode="liveall", registry=OWN
)
MEMORY = Gauge(
    "barrelwise_worker_memory_bytes", "Held by each process", multiprocess_mode="liveall", registry=OWN
)
STARTS = Counter("barrelwise_worker_starts", "Processes started, the first ones too", registry=OWN)
SLOW = Counter("barrelwise_slow_queries", "Queries that took longer than BARRELWISE_SLOW_MS", registry=OWN)
LOGGED = Counter("barrelwise_logged", "Warnings and errors in the log", ("level", "logger"), registry=OWN)

METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
ABOUT = ("ticket_id", "serial", "version", "run_id")
"""Parts of a path that stand in the log: they name things, not people."""
SENT_ID = re.compile(r"[A-Za-z0-9-]{8,64}", re.ASCII)
MOST_STATEMENT = 500


def everywhere() -> CollectorRegistry:
    """What all processes of this server counted."""
    if not counts_together():
        return OWN
    registry = CollectorRegistry()
    Counts(registry)
    return registry


class Counts(MultiProcessCollector):
    """The counts of all processes; a file that a starting process has only opened holds none yet."""

    def __init__(self, registry: CollectorRegistry, path: str | None = None) -> None:
        super().__init__(registry, path)  # type: ignore[no-untyped-call]

    def collect(self) -> Any:
        files = [str(file) for file in Path(self._path).glob("*.db") if _is_filled(file)]
        return self.merge(files, accumulate=True)  # type: ignore[no-untyped-call]


def _is_filled(file: Path) -> bool:
    try:
        return file.stat().st_size > 0
    except FileNotFoundError:  # of a process that has ended meanwhile
        return False


def worker_ended(pid: int) -> None:
    """Leaves out what only a process that lives is asked for; what it counted stays."""
    if counts_together():
        mark_process_dead(pid)  # type: ignore[no-untyped-call]


def init_watching(app: Flask) -> None:
    app.before_request(_begin)
    app.after_request(_end)


def _begin() -> None:
    g.began, g.queries, g.query_seconds = time.perf_counter(), 0, 0.0
    sent = request.headers.get("X-Request-Id", "")
    g.request_id = sent if SENT_ID.fullmatch(sent) else secrets.token_hex(8)


def route() -> str:
    """The address as the program names it, without what the caller put into it."""
    return "none" if request.url_rule is None else request.url_rule.rule


def _end(response: Response) -> Response:
    seconds = time.perf_counter() - g.began
    where = request.method if request.method in METHODS else "other", route()
    REQUESTS.labels(*where, str(response.status_code)).inc()
    SECONDS.labels(*where).observe(seconds)
    BY_WORKER.inc()
    if log.isEnabledFor(logging.INFO):
        line = {
            "method": where[0],
            "route": where[1],
            "status": response.status_code,
            "ms": round(seconds * 1000, 1),
            "queries": g.queries,
            "query_ms": round(g.query_seconds * 1000, 1),
            **{name: value for name, value in (request.view_args or {}).items() if name in ABOUT},
        }
        log.info("request", extra={"line": line})
    response.headers["X-Request-Id"] = g.request_id
    return response


def who_asks() -> dict[str, Any]:
    """Which request this thread answers, and whose token was sent with it; nothing outside of requests."""
    if not has_request_context() or "request_id" not in g:
        return {}
    found = g.get("caller")
    return {"request": g.request_id} | ({} if found is None else {"who": found.name, "role": found.role})


class Queries:
    """Told of every query: counts it for its request, and logs it where it took `slow_ms` or more; 0: never.

    Its values are not logged.
    """

    def __init__(self, slow_ms: int) -> None:
        self._slow_seconds = slow_ms / 1000 if slow_ms else float("inf")

    def __call__(self, statement: str, seconds: float) -> None:
        if has_request_context() and "queries" in g:
            g.queries += 1
            g.query_seconds += seconds
        if seconds >= self._slow_seconds:
            SLOW.inc()
            line = {"ms": round(seconds * 1000, 1), "sql": " ".join(statement.split())[:MOST_STATEMENT]}
            log.warning("slow query", extra={"line": line})
