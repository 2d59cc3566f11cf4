"""The log: one JSON object a line, each with its time, its request and whose token was sent."""

import json
import logging
from datetime import UTC, datetime
from typing import Any

from gunicorn.glogging import Logger

from api.http import watching


class Lines(logging.Handler):
    """Writes and counts. What a library says below a warning is left out by its logger's level."""

    def __init__(self, stream: Any) -> None:
        super().__init__()
        self._stream = stream

    def emit(self, record: logging.LogRecord) -> None:
        try:
            if record.levelno >= logging.WARNING:
                watching.LOGGED.labels(record.levelname.lower(), record.name).inc()
            self._stream.write(f"{self.format(record)}\n")
            self._stream.flush()
        except Exception:  # a log that cannot be written stops nobody's work
            self.handleError(record)

    def format(self, record: logging.LogRecord) -> str:
        line = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            **watching.who_asks(),
            **getattr(record, "line", {}),
        }
        if record.exc_info:
            line["trace"] = logging.Formatter().formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)


def log_to(stream: Any, *, requests: bool) -> None:
    """From now on everything is logged there; every request too, where `requests` says so."""
    logging.basicConfig(handlers=[Lines(stream)], level=logging.WARNING, force=True)
    for name in ("triage", "api"):
        logging.getLogger(name).setLevel(logging.INFO)
    watching.log.setLevel(logging.INFO if requests else logging.WARNING)
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # it warns of every request that waits


class SameLog(Logger):
    """gunicorn's, written where the rest is."""

    def setup(self, cfg: Any) -> None:
        super().setup(cfg)
        self.error_log.handlers.clear()
        self.error_log.propagate = True
