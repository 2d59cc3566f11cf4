"""Serves the app with waitress, a production WSGI server."""

from __future__ import annotations

import ipaddress
import logging
from pathlib import Path

from waitress import serve as waitress_serve

from api.app import create_app
from triage.programme import Programme

log = logging.getLogger(__name__)
THREADS = 2
"""Enough to work while another waits for the disk; more only take turns at one interpreter."""


def is_loopback(host: str) -> bool:
    """Whether an address to listen on can be reached from this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def run(programme: Programme, host: str, port: int, folder: Path | None = None) -> None:
    """Serves until stopped; `folder` is where the rulebook's files lie."""
    waitress_serve(create_app(programme, folder), host=host, port=port, threads=THREADS, ident="barrelwise")
