"""`barrelwise forget`: erases what callers said, and photos, of closed tickets; names of people."""

from __future__ import annotations

from dataclasses import asdict
from datetime import timedelta

import click

from triage.cli.shown.files import now
from triage.cli.shown.opened import opened_store
from triage.cli.shown.output import AS_JSON, messages, print_done
from triage.config import read_settings
from triage.records.ticket_id import heard
from triage.service.photos.kept import drop_files
from triage.store.forgetting import ForgottenNames
from triage.values.errors import ConflictError, InputError

LEAST_NAME = 2


@click.command()
@click.argument("tickets", nargs=-1)
@click.option("--phone", help="All tickets with this number to call back on.")
@click.option("--older-than", type=click.IntRange(1), help="All that were closed more than so many days ago.")
@click.option("--name", help="A person's name in trainings, the care log and installations.")
@click.option("--why", default="", help="What is kept in each log as the reason.")
@click.option("--yes", is_flag=True, help="Do not ask first.")
@AS_JSON
def forget(
    tickets: tuple[str, ...],
    phone: str | None,
    older_than: int | None,
    name: str | None,
    why: str,
    yes: bool,
    as_data: bool,
) -> int:
    """Erase callers' names, numbers and words, and photos, of closed TICKETS; nothing brings them back.

    With --name a person's name: in the register of training, where the person then counts as having left, in
    the care log and in the log of installations, with each note that holds it. With --older-than also the
    names of those who left, or did care, so long ago. What was decided stays, and the log says what was
    erased. Exit status 1 where a ticket is kept because it is open, or a danger stands open on it.
    """
    if sum((bool(tickets), phone is not None, older_than is not None, name is not None)) != 1:
        raise InputError("say which: the tickets, --phone, --older-than or --name")
    if name is not None:
        return _forget_name(" ".join(name.split()), yes, as_data)
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
        names = ForgottenNames()
        if before is not None:
            with store.write() as work:
                names = work.forgetting.forget_old_names(before)
        store.drop_traces()
    told = f"erased in {len(erased)} tickets, kept in {len(kept)}"
    told += f"; names {_told(names)}" if before is not None else ""
    print_done(as_data, {"erased": erased, "kept": kept, **asdict(names)}, told)
    return 1 if kept else 0


def _forget_name(name: str, yes: bool, as_data: bool) -> int:
    if len(name) < LEAST_NAME:
        raise InputError(f"write the name after --name, {LEAST_NAME} letters or more")
    if not yes:
        question = f'Erase "{name}" from trainings, the care log and installations, for ever?'
        click.confirm(question, abort=True, err=True)
    with opened_store(read_settings()) as store:
        with store.write() as work:
            names = work.forgetting.forget_name(name, now().date())
        store.drop_traces()
    if not any(asdict(names).values()):
        raise InputError(f'"{name[:80]}" stands in no training, care log or installation')
    print_done(as_data, {"erased": [], "kept": [], **asdict(names)}, f"erased {_told(names)}")
    return 0


def _told(names: ForgottenNames) -> str:
    return f"in {names.trainings} trainings, {names.care} of care and {names.installs} of installations"
