"""`barrelwise serve`: the API and its pages on a production WSGI server."""

import os
import shutil
import signal
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from functools import partial
from pathlib import Path
from tempfile import mkdtemp
from typing import NoReturn

import click

from triage.cli.shown.opened import UNREADABLE, opened_service
from triage.config import INSTALLED_RULES, MOST_WORKERS, count_in, read_settings
from triage.logic.engine_checked import engine_note
from triage.service.service import Service
from triage.values.errors import InputError

LOOPBACK = "127.0.0.1"


@click.command()
@click.option("--host", help="The address to listen on.")
@click.option("--port", type=click.IntRange(1, 65535), help="The port to listen on.")
@click.option("--workers", type=click.IntRange(1, MOST_WORKERS), help="How many processes answer.")
def serve(host: str | None, port: int | None, workers: int | None) -> None:
    """Serve the API and the pages until stopped."""
    with _counting_together():
        _serve(host, port, workers)


@contextmanager
def _counting_together() -> Iterator[None]:
    """A folder in which the processes count together; its name must be known before the API is imported."""
    folder, first = mkdtemp(prefix="barrelwise-counts-"), os.getpid()
    count_in(folder)
    try:
        yield
    finally:
        if os.getpid() == first:  # the others, too, come by here when they end
            count_in(None)
            shutil.rmtree(folder, ignore_errors=True)


def _serve(host: str | None, port: int | None, workers: int | None) -> None:
    from api.serve import is_handed_sockets, run  # the API imports the core, so the core names it only here

    settings = read_settings()
    host, port, workers = host or settings.host, port or settings.port, workers or settings.workers
    folder = None if settings.rulebook == INSTALLED_RULES else settings.rulebook
    server = settings.server

    def listening() -> None:
        click.echo(f"serving on http://{host}:{port}", err=True)

    before = signal.signal(signal.SIGTERM, _stop)
    try:
        with opened_service(settings) as service:
            note = engine_note(settings.engine)
            if note is not None:
                click.echo(note, err=True)
            host = _host_without_token(service, host)
            _say_which_rulebook(service, settings.rulebook)
            if (workers == 1 and not is_handed_sockets()) or not service.store.can_be_shared:
                with _listening_on(host, port):
                    run(lambda: nullcontext(service), host, port, folder, 1, server, listening)
                return
        with _listening_on(host, port):
            run(partial(opened_service, settings), host, port, folder, workers, server, listening)
    finally:
        signal.signal(signal.SIGTERM, before)


@contextmanager
def _listening_on(host: str, port: int) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise InputError(f"cannot listen on {host} port {port}: {error.strerror or error}") from None


def _host_without_token(service: Service, host: str) -> str:
    """Without any token everything is refused, and nobody but this machine need see that."""
    from api.serve import is_loopback

    with service.store.read() as work:
        if work.tokens.any_valid(service.now()):
            return host
    moved = "" if is_loopback(host) else f", so it listens on {LOOPBACK} only, not on {host}"
    click.echo(f"there is no token yet{moved}; make one with `barrelwise token add`", err=True)
    return host if is_loopback(host) else LOOPBACK


def _say_which_rulebook(service: Service, folder: Path) -> None:
    click.echo(f"rulebook {service.rulebook.version}", err=True)
    if service.given == UNREADABLE:
        wrong = "cannot be read; `barrelwise rulebook check` says why"
        click.echo(f"the rulebook in {folder} {wrong}", err=True)
    elif service.given != service.rulebook.version:
        wrong = "is another, not live; `barrelwise rulebook replay` and `publish` put it there"
        click.echo(f"the rulebook in {folder} {wrong}", err=True)


def _stop(_signal: int, _frame: object) -> NoReturn:
    """Ends the server as Ctrl-C does: what runs is finished, the database is closed."""
    raise SystemExit(0)
