"""`barrelwise rulebook learn`: what closed tickets say of the rulebook's numbers, as a proposal."""

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click
from rich.box import SIMPLE_HEAD
from rich.table import Table

from triage.cli.shown.files import now, read_time
from triage.cli.shown.opened import opened_store
from triage.cli.shown.output import console, messages, print_json
from triage.config import read_settings
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.learning.learning import LEAST, WEIGHT, Learned, learn
from triage.rulebook_care.learning.patch import patched_files, unified_diff, write_candidate
from triage.rulebook_care.learning.records import Closed, FleetSeen, closed_tickets, fleets
from triage.rulebook_care.release.piece import ready


@click.command("learn")
@click.option("--since", help="Only tickets closed from this time on; RFC 3339 with offset.")
@click.option(
    "--weight",
    type=click.FloatRange(1.0, 1e6),
    default=WEIGHT,
    show_default=True,
    help="How many tickets a number of the rulebook is worth.",
)
@click.option(
    "--least",
    type=click.IntRange(1),
    default=LEAST,
    show_default=True,
    help="Propose nothing for a number from fewer tickets.",
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write a candidate rulebook into this new folder."
)
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def learn_command(since: str | None, weight: float, least: int, out: Path | None, as_json: bool) -> None:
    """Propose new numbers for the rulebook from closed tickets, also from those without a confirmed cause.

    Nothing changes by itself: the proposal is printed as a patch, or written as a candidate, ready for
    `rulebook check` and `rulebook replay`.
    """
    settings = read_settings()
    started = None if since is None else read_time(since, "--since")
    current = ready(read_rulebook(settings.rulebook))
    closed = Closed()
    wait = messages().status("Reading closed tickets")
    with wait, opened_store(settings) as store, store.read() as work:
        tickets = tuple(closed_tickets(work.recorded.closed(started), current, closed))
        seen = fleets(work.machines.all(), work.care.repairs(), now())
    notes = list(closed.notes())
    found = learn(current.rulebook, tickets, weight, least)
    patched = patched_files(settings.rulebook, found)
    if out is not None:
        write_candidate(settings.rulebook, out, patched)
    if as_json:
        numbers = [_data(one) for one in found if one.tickets]
        models = [asdict(one) for one in seen]
        print_json({"numbers": numbers, "fleets": models, "notes": notes, "patch": unified_diff(patched)})
        return
    _show(found, notes, least)
    _show_fleets(seen, current.rulebook)
    if out is None:
        click.echo(unified_diff(patched), nl=False)
    else:
        click.echo(f"{len(patched)} files changed in the candidate {out}", err=True)


def _show(found: Sequence[Learned], notes: Sequence[str], least: int) -> None:
    out = console()
    for note in notes:
        out.print(note, markup=False)
    told = [one for one in found if one.proposed is not None or one.drifts]
    thin = sum(one.counts_as < least for one in found)
    out.print(f"{thin} of {len(found)} numbers are known from fewer than {least} tickets and stay.")
    if not told:
        return
    table = Table(title="What the tickets say (95 % intervals)", box=SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column("number", overflow="fold", min_width=18)
    for heading in ("now", "seen", "counts as", "learned", "between", "propose"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("")
    for one in told:
        number = one.number
        table.add_row(
            f"{number.kind} {number.of}: {number.cause}",
            f"{number.chance:.3f}",
            f"{round(one.hits, 1):g}/{round(one.tickets, 1):g}",
            f"{one.counts_as:.0f}",
            f"{one.mean:.3f}",
            f"{one.low:.3f}-{one.high:.3f}",
            "" if one.proposed is None else str(one.proposed),
            "no longer fits" if one.drifts else "",
        )
    out.print(table)


def _show_fleets(seen: Sequence[FleetSeen], rulebook: Rulebook) -> None:
    """What `models.yml` says of each fleet, and what fits best; whoever keeps the file takes it over."""
    for one in seen:
        record = f"{one.failures} failures in {one.years:.1f} years of {one.machines} machines"
        model = rulebook.models.get(one.model)
        now_is = "not in models.yml"
        if model is not None:
            now_is = f"now {model.failures_a_year} and {model.fleet_years}"
        fits = "no failure, so nothing is fitted"
        if one.fleet is not None:
            rate, weight = one.fleet.failures_a_year, one.fleet.weight_years
            fits = f"failures_a_year {rate:.2f} and fleet_years {weight:.2g} fit best ({now_is})"
        console().print(f"{one.model}: {record}; {fits}.", markup=False)


def _data(one: Learned) -> dict[str, Any]:
    number = one.number
    return {
        "kind": number.kind,
        "of": number.of,
        "cause": number.cause,
        "file": number.file,
        "path": list(number.path),
        "written": number.written,
        "chance": number.chance,
        "hits": one.hits,
        "tickets": one.tickets,
        "counts_as": one.counts_as,
        "mean": one.mean,
        "interval": [one.low, one.high],
        "seen_interval": [one.seen_low, one.seen_high],
        "drifts": one.drifts,
        "proposed": one.proposed,
    }
