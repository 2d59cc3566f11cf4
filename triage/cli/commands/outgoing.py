"""`barrelwise webhook add|list|remove` and `barrelwise deliver`: what is told to the outside."""

import click
from rich.table import Table

from triage.cli.shown.files import now
from triage.cli.shown.opened import opened_service, opened_store
from triage.cli.shown.output import AS_JSON, console, print_done, print_json
from triage.config import read_settings
from triage.service.outgoing import deliver as delivery
from triage.service.outgoing.webhooks import check_url, new_secret
from triage.store.tables.tokens import MOST_NAME
from triage.values.errors import InputError


@click.group()
def webhook() -> None:
    """Programs that are told of every event of a ticket, signed by a secret of each."""


@webhook.command()
@click.argument("name")
@click.argument("url")
@AS_JSON
def add(name: str, url: str, as_data: bool) -> None:
    """Tell the program NAME at URL of every event from now on, and print the secret that signs it."""
    if not (name.strip() and name.isprintable() and len(name) <= MOST_NAME):
        raise InputError(f"a listener's name has 1 to {MOST_NAME} printable characters")
    check_url(url)
    secret = new_secret()
    with opened_store(read_settings()) as store, store.write() as work:
        work.outbox.add_listener(name, url, secret, now())
    print_done(as_data, {"name": name, "url": url, "secret": secret}, secret, answer=True)
    click.echo("The listener checks each signature with this secret; it is shown once.", err=True)


@webhook.command("list")
@AS_JSON
def list_webhooks(as_data: bool) -> None:
    """Show who listens, what waits to be delivered, and why; e-mail too."""
    with opened_store(read_settings()) as store, store.read() as work:
        listeners, waits = work.outbox.listeners(), {row[0]: row for row in work.outbox.waiting()}
    rows = [(one.name, one.url, one.removed_at) for one in listeners] + [("e-mail", "", None)]
    shown = []
    for name, url, removed in rows:
        _, count, since, error = waits.get(
            None if name == "e-mail" and not url else name, (None, 0, None, "")
        )
        shown.append(
            {
                "name": name,
                "url": url,
                "removed_at": removed,
                "waiting": count,
                "since": since,
                "error": error,
            }
        )
    if as_data:
        print_json(shown)
        return
    table = Table("name", "address", "waiting", "since", "last error", "removed", box=None)
    for row in shown:
        cells = (row["waiting"], row["since"], row["error"], row["removed_at"])
        table.add_row(
            str(row["name"]), str(row["url"]), *("" if each is None else str(each) for each in cells)
        )
    console().print(table)


@webhook.command()
@click.argument("name")
@AS_JSON
def remove(name: str, as_data: bool) -> None:
    """Tell the program NAME no more."""
    with opened_store(read_settings()) as store, store.write() as work:
        work.outbox.remove_listener(name, now())
    print_done(as_data, {"name": name, "removed": True}, f"{name} is told no more")


@click.command()
@AS_JSON
def deliver(as_data: bool) -> int:
    """Deliver what waits: e-mail and webhooks. The server does so as well; exit status 1 if any failed."""
    with opened_service() as service:
        done = delivery.deliver(service)
    data = {"delivered": done.sent, "failed": done.failed}
    print_done(as_data, data, f"{done.sent} delivered, {done.failed} to be tried again")
    return 1 if done.failed else 0
