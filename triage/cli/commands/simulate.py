"""`barrelwise simulate`: a fleet's years under the rulebook, under a candidate, and by always sending."""

import os
from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

import click
from rich.progress import Progress
from rich.table import Table

from triage.cli.shown.output import console, messages, print_json
from triage.config import read_settings
from triage.rulebook.reading.reader import read_rulebook
from triage.simulation.world import WORLDS
from triage.simulation.year import ALWAYS_SEND, MEASURES, RANGE, Run, Spread, simulate, summed_up

TITLES = {
    "as_written": "The rulebook's numbers hold",
    "numbers_off": "The rulebook's numbers are wrong by up to a factor of 2",
    "two_faults": "One call in ten has two faults",
    "mishearing": "One answer or check in ten goes wrong",
}
SHOWN = {
    "calls": "calls",
    "fixed_in_store": "fixed in store",
    "visits": "visits",
    "swaps": "swaps",
    "spend": "spend",
    "hours": "hours not pouring",
    "dangers": "calls with a danger",
    "dangers_unnoticed": "  not noticed",
    "dangers_met": "  clerk sent near it",
}


@click.command("simulate")
@click.option("--rulebook", type=click.Path(path_type=Path), help="A folder; the settings' one, if left out.")
@click.option("--candidate", type=click.Path(path_type=Path), help="A rulebook folder to hold against it.")
@click.option(
    "--machines", type=click.IntRange(1, 5000), default=100, show_default=True, help="How many in the fleet."
)
@click.option("--years", type=click.IntRange(2, 1000), default=10, show_default=True, help="How long.")
@click.option("--first-day", default="2026-01-01", show_default=True, help="When each year begins.")
@click.option("--seed", type=int, default=1, show_default=True, help="The same seed gives the same years.")
@click.option(
    "--world",
    type=click.Choice([*WORLDS, "all"]),
    default="as_written",
    show_default=True,
    help="Which errors.",
)
@click.option("--jobs", type=click.IntRange(1, 256), help="Processes; all cores, if left out.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def simulate_command(
    rulebook: Path | None,
    candidate: Path | None,
    machines: int,
    years: int,
    first_day: str,
    seed: int,
    world: str,
    jobs: int | None,
    as_json: bool,
) -> int:
    """Play years of a made-up fleet, seeded: what triage would spend, send and risk.

    Machines fail as often as the rulebook's models do, by the causes and chances that it states. The same
    calls are played under the rulebook, under the candidate, and by sending somebody to every call.
    """
    try:
        begin = date.fromisoformat(first_day)
    except ValueError:
        raise click.BadParameter("write a date, such as 2026-01-01", param_hint="--first-day") from None
    folders = {"rulebook": rulebook or read_settings().rulebook}
    if candidate is not None:
        folders["candidate"] = candidate
    currency = read_rulebook(folders["rulebook"]).currency
    worlds = WORLDS if world == "all" else {world: WORLDS[world]}
    found = {}
    with Progress(console=messages()) as bar:
        for name, errors in worlds.items():
            task = bar.add_task(TITLES[name], total=years)
            played = simulate(
                Run(folders, machines, seed, begin, errors),
                years,
                jobs or os.cpu_count() or 1,
                lambda count, of, task=task: bar.update(task, completed=count, total=of),  # type: ignore[misc]
            )
            found[name] = summed_up(played)
    if as_json:
        print_json(
            {
                "machines": machines,
                "years": years,
                "seed": seed,
                "currency": currency,
                "range_percentiles": list(RANGE),
                "worlds": {
                    name: {"assumes": asdict(worlds[name]), "programs": _data(programs)}
                    for name, programs in found.items()
                },
            }
        )
        return 0
    for name, programs in found.items():
        console().print(_table(f"{TITLES[name]}: a year of {machines} machines, in {currency}", programs))
    console().print(
        f"Means over {years} years, and the range of nine years in ten; then the difference from the "
        "rulebook, call by call the same. The prices of swapped machines are not counted."
    )
    return 0


def _data(programs: Mapping[str, Any]) -> dict[str, Any]:
    return {
        program: {kind: {name: asdict(one) for name, one in rows.items()} for kind, rows in kinds.items()}
        for program, kinds in programs.items()
    }


def _table(title: str, programs: Mapping[str, Mapping[str, Mapping[str, Spread]]]) -> Table:
    table = Table(title=title)
    table.add_column("")
    columns = [(name, kind) for name, kinds in programs.items() for kind in kinds]
    for name, kind in columns:
        shown = "always send" if name == ALWAYS_SEND else name
        table.add_column(shown if kind == "year" else f"{shown}, difference", justify="right")
    for measure in MEASURES:
        cells = (_cell(programs[name][kind][measure], signed=kind != "year") for name, kind in columns)
        table.add_row(SHOWN[measure], *cells)
    return table


def _cell(spread: Spread, *, signed: bool) -> str:
    sign, places = "+" if signed else "", 1 if abs(spread.mean) < 100 else 0
    mean, low, high = (f"{one:{sign},.{places}f}" for one in (spread.mean, spread.low, spread.high))
    return f"{mean} ({low} to {high})"
