"""`barrelwise backup`, `restore`, `copy`, `verify`: copies of the database, and whether it is right."""

from dataclasses import asdict
from pathlib import Path

import click

from triage.cli.shown.opened import opened_store
from triage.cli.shown.output import AS_JSON, print_done, print_json
from triage.config import read_settings
from triage.store.copies.backup import back_up, restore
from triage.store.copies.copying import copy_database
from triage.store.verify import read_seal

FILE = click.argument("file", type=click.Path(path_type=Path, dir_okay=False))


@click.command()
@FILE
@AS_JSON
def backup(file: Path, as_data: bool) -> None:
    """Copy the database to a new FILE while the service goes on; all that was answered before is in it."""
    tickets = back_up(read_settings().database, file)
    print_done(as_data, {"file": str(file), "tickets": tickets}, f"{file}: {tickets} tickets", answer=True)


@click.command("restore")
@FILE
@AS_JSON
def restore_command(file: Path, as_data: bool) -> None:
    """Put the copy in FILE where the settings say that the database is; there must be none yet."""
    tickets = restore(read_settings().database, file)
    print_done(as_data, {"file": str(file), "tickets": tickets}, f"{tickets} tickets are back", answer=True)


@click.command("copy")
@click.argument("url")
@AS_JSON
def copy_command(url: str, as_data: bool) -> None:
    """Copy every row into the empty database at URL, such as postgresql+psycopg://127.0.0.1/barrelwise.

    Then both sides are read, and the sums of their rows' hashes compared, table by table. Photos that lie in
    a folder stay there.
    """
    copied = copy_database(read_settings().database, url)
    if as_data:
        print_json([asdict(table) for table in copied])
        return
    for table in copied:
        click.echo(f"{table.table:<20}{table.rows:>10}  {table.sum}")
    click.echo(f"{sum(table.rows for table in copied)} rows, the same on both sides")


@click.command()
@click.option("--known", metavar="SEAL", help="How the chain ended once: the log must still begin so.")
@AS_JSON
def verify(known: str | None, as_data: bool) -> int:
    """Check every event of every ticket against the chain that it was sealed in.

    Says which are altered, missing or added, and how the chain ends: a seal, which is worth noting elsewhere,
    since who can rewrite the whole database can make a whole chain. Exit status 1 where anything is found.
    """
    seal = () if known is None else (read_seal(known),)
    found = []
    with opened_store(read_settings()) as store, store.read() as work:
        for one in work.verification.findings(*seal):
            found.append(asdict(one))
            if not as_data:
                click.echo(f"{one.ticket}/{one.seq}: {one.what}" if one.ticket else one.what)
        events, end = work.verification.events, work.verification.end
    if as_data:
        print_json({"events": events, "seal": end, "findings": found})
    else:
        click.echo(f"{events} events, {len(found)} findings; the chain ends at {end}")
    return 1 if found else 0
