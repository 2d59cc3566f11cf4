"""A few years of a small fleet, while somebody waits: in a process of its own, within limits."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.editing.child import Child
from triage.simulation.world import WORLDS
from triage.simulation.year import Spread, Year, programs_of, summed_up
from triage.values.errors import InputError, Problem

SECONDS, MEMORY_MB, NICE = 90.0, 2048, 5
FIRST_DAY = date(2026, 1, 1)
LEAST_YEARS, MOST_YEARS, MOST_MACHINE_YEARS = 2, 20, 200

Programs = dict[str, dict[str, dict[str, Spread]]]
Files = Mapping[str, Any]


def quick_years(rulebooks: Mapping[str, Files], machines: int, years: int, seed: int, world: str) -> Programs:
    """As `barrelwise simulate` sums up, under rulebooks given as files by name; the first is the world's.

    InputError for more than takes a short while, for a world that is none, and for what the limits end.
    """
    if world not in WORLDS:
        raise InputError([Problem(f"the worlds are {', '.join(WORLDS)}", "world")])
    if machines < 1 or not LEAST_YEARS <= years <= MOST_YEARS or machines * years > MOST_MACHINE_YEARS:
        most = f"at most {MOST_MACHINE_YEARS} years of a machine in all"
        said = f"play {LEAST_YEARS} to {MOST_YEARS} years, and {most}; barrelwise simulate plays more"
        raise InputError([Problem(said, "years")])
    advice = "play fewer machines or years, or use barrelwise simulate"
    with Child("playing the years", MEMORY_MB, advice, NICE) as child:
        played: Mapping[str, list[Year]] = child.call(
            SECONDS, _play, dict(rulebooks), machines, years, seed, world
        )
    return summed_up(played)


def _play(
    rulebooks: Mapping[str, Files], machines: int, years: int, seed: int, world: str
) -> Mapping[str, list[Year]]:
    read = {name: rulebook_from_data(files) for name, files in rulebooks.items()}
    play = programs_of(read, machines, seed, FIRST_DAY, WORLDS[world])
    found: dict[str, list[Year]] = {}
    for number in range(years):
        for name, year in play(number).items():
            found.setdefault(name, []).append(year)
    return found
