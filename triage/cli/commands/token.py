"""`barrelwise token add|list|revoke`: who may call the API."""

from dataclasses import asdict
from datetime import timedelta

import click
from rich.table import Table

from triage.cli.shown.files import now
from triage.cli.shown.opened import opened_service, opened_store
from triage.cli.shown.output import AS_JSON, console, print_done, print_json
from triage.config import read_settings
from triage.records.caller import ROLES, Role
from triage.values.errors import InputError
from triage.values.shown import hint


@click.group()
def token() -> None:
    """Bearer tokens. Only their hashes are kept."""


@token.command()
@click.argument("name")
@click.option("--role", required=True, type=click.Choice(ROLES), help="What it may do.")
@click.option("--contractor", help="For a technician: the contractor whose tickets it may see.")
@click.option("--authority", help="For an authority: which one of the rulebook's it speaks as.")
@click.option("--email", help="For signing in by a provider; an authority is asked there.")
@click.option("--days", type=click.IntRange(1, 3660), help="It ends after so many days; else when revoked.")
@AS_JSON
def add(
    name: str,
    role: Role,
    contractor: str | None,
    authority: str | None,
    email: str | None,
    days: int | None,
    as_data: bool,
) -> None:
    """Make a token called NAME and print it, once. A name whose token has ended can be used again.

    An authority's token is one person's: NAME stands in every approval that is given with it.
    """
    if authority is not None:
        _refuse_unknown(authority)
    at = now()
    expires = None if days is None else at + timedelta(days=days)
    with opened_store(read_settings()) as store, store.write() as work:
        made = work.tokens.add(name, role, contractor, at, authority, email, expires)
    if as_data:
        tied = {"contractor": contractor, "authority": authority, "expires_at": expires}
        print_json({"name": name, "role": role, **tied, "token": made})
    else:
        click.echo(made)
    click.echo("This token is shown once and kept nowhere; put it in a safe place now.", err=True)


def _refuse_unknown(authority: str) -> None:
    with opened_service() as service:
        known = service.rulebook.authorities
    if authority not in known:
        fix = hint(authority[:60], known, f"; authorities are {', '.join(known)}")
        raise InputError(f'the rulebook has no authority "{authority[:60]}"{fix}')


@token.command("list")
@AS_JSON
def list_tokens(as_data: bool) -> None:
    """Show names, roles and dates of all tokens, ended ones too."""
    with opened_store(read_settings()) as store, store.read() as work:
        records = work.tokens.all()
    if as_data:
        print_json([asdict(record) for record in records])
        return
    table = Table("name", "role", "tied to", "made", "last used", "expires", "revoked", box=None)
    for record in records:
        moments = (record.created_at, record.used_at, record.expires_at, record.revoked_at)
        table.add_row(
            record.name,
            record.role,
            record.contractor or record.authority or "",
            *("" if moment is None else f"{moment:%Y-%m-%d %H:%M}" for moment in moments),
        )
    console().print(table)


@token.command()
@click.argument("name")
@click.argument("address")
@AS_JSON
def email(name: str, address: str, as_data: bool) -> None:
    """Give the holder of NAME the e-mail address ADDRESS; an authority is asked there from now on."""
    with opened_store(read_settings()) as store, store.write() as work:
        work.tokens.write_to(name, address)
    print_done(as_data, {"name": name, "email": address}, f"{name} has the address {address}")


@token.command()
@click.argument("name")
@AS_JSON
def revoke(name: str, as_data: bool) -> None:
    """Let the token called NAME in no more."""
    with opened_store(read_settings()) as store, store.write() as work:
        work.tokens.revoke(name, now())
    print_done(as_data, {"name": name, "revoked": True}, f"{name} is revoked")
