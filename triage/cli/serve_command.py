"""`barrelwise serve`: the API and its pages on a production WSGI server."""

from __future__ import annotations

import signal
from typing import NoReturn

import click

from triage.cli.files import UNREADABLE, opened_programme
from triage.config import read_settings
from triage.engines import engine_note
from triage.errors import InputError

LOOPBACK = "127.0.0.1"


@click.command()
@click.option("--host", help="The address to listen on.")
@click.option("--port", type=click.IntRange(1, 65535), help="The port to listen on.")
def serve(host: str | None, port: int | None) -> None:
    """Serve the API and the pages until stopped."""
    from api.serve import is_loopback, run  # the API imports the core, so the core names it only here

    settings = read_settings()
    host, port = host or settings.host, port or settings.port
    with opened_programme(settings) as programme:
        note = engine_note(settings.engine)
        if note is not None:
            click.echo(note, err=True)
        with programme.store.read() as work:
            anyone = work.tokens.any_valid()
        if not anyone:
            moved = "" if is_loopback(host) else f", so it listens on {LOOPBACK} only, not on {host}"
            click.echo(f"there is no token yet{moved}; make one with `barrelwise token add`", err=True)
            host = host if is_loopback(host) else LOOPBACK
        click.echo(f"rulebook {programme.rulebook.version}", err=True)
        if programme.given == UNREADABLE:
            wrong = "cannot be read; `barrelwise rulebook check` says why"
            click.echo(f"the rulebook in {settings.rulebook} {wrong}", err=True)
        elif programme.given != programme.rulebook.version:
            wrong = "is another, not in force; `barrelwise rulebook replay` and `publish` put it there"
            click.echo(f"the rulebook in {settings.rulebook} {wrong}", err=True)
        click.echo(f"serving on http://{host}:{port}", err=True)
        before = signal.signal(signal.SIGTERM, _stop)
        try:
            run(programme, host, port, settings.rulebook)
        except OSError as error:
            raise InputError(f"cannot listen on {host} port {port}: {error.strerror or error}") from None
        finally:
            signal.signal(signal.SIGTERM, before)


def _stop(_signal: int, _frame: object) -> NoReturn:
    """Ends the server as Ctrl-C does: what runs is finished, the database is closed."""
    raise SystemExit(0)
