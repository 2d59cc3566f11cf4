"""`barrelwise rulebook replay CANDIDATE`: what a change would have done to everything that was recorded."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.progress import Progress, TimeRemainingColumn
from rich.table import Table

from triage.cli.rulebook.safety import show_losses
from triage.cli.shown.files import now, read_time
from triage.cli.shown.opened import opened_store
from triage.cli.shown.output import console, messages, print_json
from triage.config import read_settings
from triage.rulebook.reading.reader import read_with_files
from triage.rulebook_care.release.piece import ReplayJob
from triage.rulebook_care.release.publishing import check_candidate, live, note_replay
from triage.rulebook_care.release.replay import as_data, replay
from triage.rulebook_care.release.runners import cluster, here, processes
from triage.rulebook_care.safety.loss import loss_from_data

OPERATOR = "operator"
MOST_LOST = 200
"""Losses printed one by one; `--json` has all."""


@click.command("replay")
@click.argument("candidate", type=click.Path(path_type=Path))
@click.option("--since", help="Only what was decided from this time on; RFC 3339 with offset.")
@click.option("--jobs", type=click.IntRange(1, 256), help="Processes; all cores, if left out.")
@click.option(
    "--resume", type=click.Path(path_type=Path), help="Keep finished pieces here, and go on from it."
)
@click.option("--scheduler", metavar="ADDRESS", help="Hand the work to this Dask cluster instead.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def replay_command(
    candidate: Path,
    since: str | None,
    jobs: int | None,
    resume: Path | None,
    scheduler: str | None,
    as_json: bool,
) -> int:
    """Decide all recorded reports again under the rulebook in the folder CANDIDATE.

    The candidate is checked first, in a process of its own, and compared with the live version. Exit
    status 1 when something is lost for people's safety.
    """
    settings = read_settings()
    started = None if since is None else read_time(since, "--since")
    with opened_store(settings) as store:
        baseline = live(store).version
        version = check_candidate(store, read_with_files(candidate)[1], OPERATOR, now())
        job = ReplayJob(settings.database, baseline, version, started, now())
        if scheduler is not None:
            run = cluster(scheduler)
        else:
            count = jobs or os.cpu_count() or 1
            run = here(store) if count == 1 else processes(count)
        with progress_bar() as progress:
            found = replay(store, job, run, resume, progress)
        note_replay(store, found, OPERATOR, now())
    data = as_data(found)
    if as_json:
        print_json(data)
    else:
        show_replay(data)
    return 1 if data["losses"] else 0


@contextmanager
def progress_bar() -> Iterator[Callable[[int, int], None]]:
    """On standard error; what it gives is told decisions done, and of how many."""
    with Progress(*Progress.get_default_columns()[:-1], TimeRemainingColumn(), console=messages()) as bar:
        task = bar.add_task("Redeciding", total=None)
        yield lambda done, of: bar.update(task, completed=done, total=of)


def show_replay(data: dict[str, Any]) -> None:
    """The result as tables for people."""
    out = console()
    out.print(f"{data['decisions']} decisions of {data['tickets']} tickets, redecided")
    out.print(f"  live       {data['baseline']}\n  candidate  {data['candidate']}")
    show_losses([loss_from_data(each) for each in data["losses"]])
    if not data["decisions"]:
        _print_notes(out, data)
        return
    out.print(_outcomes(data))
    for title, groups in (("symptom", data["by_symptom"]), ("site", data["by_site"])):
        changed = {name: rows for name, rows in groups.items() if _changed(rows)}
        if changed:
            out.print(_by(title, changed))
    spend, visits = data["expected_spend"], data["visits"]
    out.print(
        f"Expected spend {spend['baseline']} → {spend['candidate']} ({_signed(spend['change'])}), each as "
        f"its rulebook counts it; visits avoided {visits['avoided']}, added {visits['added']}"
    )
    lost = data["safety_lost"]
    out.print(f"Safety outcomes lost: {len(lost)}")
    for one in lost[:MOST_LOST]:
        out.print(f"  {one['ticket']} event {one['seq']}: {one['kind']}: {one['what']}", markup=False)
    if len(lost) > MOST_LOST:
        out.print(f"  and {len(lost) - MOST_LOST} more; --json lists all")
    for one in data["undecided"][:MOST_LOST]:
        out.print(f"  {one['ticket']} event {one['seq']}: {one['why']}", markup=False)
    if data["scores"]:
        out.print(_scores(data))
    _print_notes(out, data)


def _print_notes(out: Console, data: dict[str, Any]) -> None:
    for note in data["notes"]:
        out.print(note, markup=False)


def _outcomes(data: dict[str, Any]) -> Table:
    rows = data["outcomes"]
    columns = list(dict.fromkeys(sorted(row["candidate"] for row in rows)))
    table = Table(title=f"Outcomes: {data['changed']} of {data['decisions']} decisions change")
    table.add_column("live ↓  candidate →")
    for name in columns:
        table.add_column(name, justify="right")
    counts = {(row["baseline"], row["candidate"]): row["count"] for row in rows}
    for before in dict.fromkeys(sorted(row["baseline"] for row in rows)):
        table.add_row(before, *(str(counts.get((before, after), "")) for after in columns))
    return table


def _changed(rows: list[dict[str, Any]]) -> int:
    return sum(row["count"] for row in rows if row["baseline"] != row["candidate"])


def _by(title: str, groups: dict[str, Any]) -> Table:
    table = Table(title=f"Changes by {title}")
    table.add_column(title)
    for name in ("decisions", "changed"):
        table.add_column(name, justify="right")
    table.add_column("to")
    for name, rows in sorted(groups.items(), key=lambda group: -_changed(group[1])):
        to = ", ".join(
            f"{row['baseline']} → {row['candidate']} {row['count']}"
            for row in rows
            if row["baseline"] != row["candidate"]
        )
        table.add_row(name, str(sum(row["count"] for row in rows)), str(_changed(rows)), to)
    return table


def _scores(data: dict[str, Any]) -> Table:
    table = Table(title=f"Against the confirmed causes of {data['scored_tickets']} closed tickets (95 %)")
    table.add_column("measure")
    for name in ("live", "candidate", "difference", "from", "to"):
        table.add_column(name, justify="right")
    table.add_column("the candidate is")
    for one in data["scores"]:
        difference = one["difference"]
        numbers = (one["baseline"]["value"], one["candidate"]["value"], difference["value"])
        name = one["measure"].replace("_", " ") + (" (less is better)" if one["less_is_better"] else "")
        bounds = (difference["low"], difference["high"])
        table.add_row(name, *(f"{number:.3f}" for number in (*numbers, *bounds)), one["verdict"])
    return table


def _signed(amount: str) -> str:
    return amount if amount.startswith("-") else f"+{amount}"
