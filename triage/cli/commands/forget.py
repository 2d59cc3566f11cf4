"""`barrelwise forget`: erases what callers said, and photos, of closed tickets; names of trained people."""

from __future__ import annotations

from datetime import timedelta

import click

from triage.cli.shown.files import now
from triage.cli.shown.opened import opened_store
from triage.cli.shown.output import AS_JSON, messages, print_done
from triage.config import read_settings
from triage.records.ticket_id import heard
from triage.service.photos.kept import drop_files
from triage.values.errors import ConflictError, InputError


@click.command()
@click.argument("tickets", nargs=-1)
@click.option("--phone", help="All tickets with this number to call back on.")
@click.option("--older-than", type=click.IntRange(1), help="All that were closed more than so many days ago.")
@click.option("--trained", metavar="NAME", help="A person's name in the register of training.")
@click.option("--why", default="", help="What is kept in each log as the reason.")
@click.option("--yes", is_flag=True, help="Do not ask first.")
@AS_JSON
def forget(
    tickets: tuple[str, ...],
    phone: str | None,
    older_than: int | None,
    trained: str | None,
    why: str,
    yes: bool,
    as_data: bool,
) -> int:
    """Erase callers' names, numbers and words, and photos, of closed TICKETS; nothing brings them back.

    With --trained a person's name in the register of training, who then counts as having left; with
    --older-than also the names of those who left so long ago. What was decided stays, and the log says what
    was erased. Exit status 1 where a ticket is kept because it is open, or a danger stands open on it.
    """
    if sum((bool(tickets), phone is not None, older_than is not None, trained is not None)) != 1:
        raise InputError("say which: the tickets, --phone, --older-than or --trained")
    if trained is not None:
        return _forget_trained(trained.strip(), yes, as_data)
    if phone is not None and not any(map(str.isdigit, phone)):
        raise InputError(f'"{phone[:40]}" is no number of a phone')
    settings, kept, erased = read_settings(), [], []
    with opened_store(settings) as store:
        with store.read() as work:
            before = None if older_than is None else now() - timedelta(days=older_than)
            found = tuple(work.tickets.get(heard(each)).id for each in tickets)
            found = found or work.forgetting.remembered(phone, before)
        if found and not yes:
            click.confirm(f"Erase what callers said in {len(found)} tickets, for ever?", abort=True, err=True)
        reason = why or (f"older than {older_than} days" if older_than else "asked for")
        for each in found:
            try:
                with store.write() as work:
                    files = work.forgetting.forget(each, reason, now(), "operator")
            except ConflictError as error:
                kept.append(each)
                messages().print(str(error), markup=False)
                continue
            erased.append(each)
            if settings.photos is not None:
                drop_files(settings.photos, files)
        left = 0
        if before is not None:
            with store.write() as work:
                left = work.forgetting.forget_left(before.date())
        store.drop_traces()
    told = f"erased in {len(erased)} tickets, kept in {len(kept)}"
    told += f"; erased in {left} trainings of people who left" if before is not None else ""
    print_done(as_data, {"erased": erased, "kept": kept, "trainings": left}, told)
    return 1 if kept else 0


def _forget_trained(name: str, yes: bool, as_data: bool) -> int:
    if not name:
        raise InputError("write the name after --trained, as it stands in the register")
    if not yes:
        click.confirm(f'Erase "{name}" from the register of training, for ever?', abort=True, err=True)
    with opened_store(read_settings()) as store:
        with store.write() as work:
            count = work.forgetting.forget_trained(name, now().date())
        store.drop_traces()
    if not count:
        raise InputError(f'nobody in the register of training is called "{name[:80]}"')
    print_done(as_data, {"erased": [], "kept": [], "trainings": count}, f"erased in {count} trainings")
    return 0
