"""Years of a fleet, played under several programs on the same faults, and what they came to.

Calls come at the rate of the machine's model (`failures_a_year`), evenly over the year (a Poisson process).
A machine's visits of the year are its history at the next call. Every program meets the same calls, so that
the difference between two of them is known far better than either; both are given with the mean over the
years and the range that holds nine years of ten.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from triage.decide.causes.inference import compile_rulebook
from triage.records.report import History, Machine, PastRepair, Site
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook.terms import MachineModel
from triage.simulation.call import ByRulebook, Play, Played, always_send
from triage.simulation.world import Errors, Fault, Luck, World
from triage.values.money import as_money

RANGE = (5, 95)  # percentiles of the years
ALWAYS_SEND = "always_send"


@dataclass(frozen=True, slots=True)
class Year:
    """What a year came to. `spend` is in the rulebook's currency, `hours` those that nothing was poured,
    weighed with the share of sales that was lost; the rest are counts of calls or visits.
    """

    calls: float
    fixed_in_store: float
    visits: float
    swaps: float
    spend: float
    hours: float
    dangers: float
    dangers_unnoticed: float
    dangers_met: float


MEASURES = tuple(field.name for field in fields(Year))


@dataclass(frozen=True, slots=True)
class Spread:
    """The mean over the years, and the range that nine of ten lie in."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Run:
    """What to play: rulebook folders by the name of their program, the first of which is the world's."""

    rulebooks: Mapping[str, Path]
    machines: int
    seed: int
    first_day: date
    errors: Errors


def made_up_fleet(rulebook: Rulebook, machines: int, seed: int, first_day: date) -> list[Machine]:
    """Machines of the rulebook's models and contractors, up to six years old."""
    models = sorted(rulebook.models) or ["any"]
    contractors: list[str | None] = [*sorted(rulebook.rates.contractors)] or [None]
    fleet = []
    for number in range(1, machines + 1):
        luck = Luck(f"{seed}/machine {number}")
        shipped = first_day - timedelta(days=30 + int(luck.of("age") * 6 * 365))
        fleet.append(
            Machine(
                serial=f"SIM-{number:05}",
                model=luck.pick("model", models),
                shipped_on=shipped,
                commissioned_on=shipped + timedelta(days=14),
                site=Site(f"sim-{number}", f"Site {number}", "", "UTC", distance_km=int(luck.of("km") * 80)),
                contractor=luck.pick("contractor", contractors),
            )
        )
    return fleet


def play_year(world: World, program: Play, fleet: Sequence[Machine], year: int, first_day: date) -> Year:
    """One year of the fleet under one program."""
    played = list(_calls(world, program, fleet, year, first_day))
    return Year(
        calls=len(played),
        fixed_in_store=sum(one.end == "fixed_in_store" for one in played),
        visits=sum(one.visits for one in played),
        swaps=sum(one.end == "swap" for one in played),
        spend=float(sum((one.spend for one in played), Decimal(0))),
        hours=sum(one.hours for one in played),
        dangers=sum(one.danger for one in played),
        dangers_unnoticed=sum(one.unnoticed for one in played),
        dangers_met=sum(one.met for one in played),
    )


def _calls(
    world: World, program: Play, fleet: Sequence[Machine], year: int, first_day: date
) -> Iterator[Played]:
    begin = datetime(first_day.year, first_day.month, first_day.day, tzinfo=UTC)
    for machine in fleet:
        repairs: list[PastRepair] = []
        for number, at in enumerate(_times(world, machine, year, begin)):
            fault = world.fault(f"{year}/{machine.serial}/{number}")
            played = program(world, fault, machine, History(repairs=tuple(repairs)), at)
            if played.visits:
                repairs.append(_past(world, fault, at, played))
            yield played


def _times(world: World, machine: Machine, year: int, begin: datetime) -> Sequence[datetime]:
    """When a machine's calls come, by exponential gaps."""
    model = world.rulebook.models.get(machine.model)
    rate = float((MachineModel("", {}, "") if model is None else model).failures_a_year)
    luck = Luck(f"{world.seed}/{year}/{machine.serial}/times")
    times: list[datetime] = []
    at = 0.0
    while (at := at - float(np.log1p(-luck.of(str(len(times))))) / rate) < 1:
        times.append(begin + at * timedelta(days=365))
    return times


def _past(world: World, fault: Fault, at: datetime, played: Played) -> PastRepair:
    return PastRepair(at, "", fault.causes[0], as_money(played.spend, world.rulebook.currency))


def simulate(
    run: Run, years: int, processes: int = 1, done: Callable[[int, int], None] = lambda _, __: None
) -> Mapping[str, list[Year]]:
    """Program -> its years, the same for the same run however many `processes` play it."""
    with ProcessPoolExecutor(processes, get_context("spawn"), _start, (run,)) as pool:
        found: dict[str, list[Year]] = {}
        for count, year in enumerate(pool.map(_year, range(years)), start=1):
            for name, one in year.items():
                found.setdefault(name, []).append(one)
            done(count, years)
    return found


_STARTED: list[Callable[[int], dict[str, Year]]] = []


def _start(run: Run) -> None:
    _STARTED[:] = [programs(run)]


def _year(number: int) -> dict[str, Year]:
    return _STARTED[0](number)


def programs(run: Run) -> Callable[[int], dict[str, Year]]:
    """Plays a year, by its number, under every rulebook and by always sending somebody."""
    read = {name: read_rulebook(folder) for name, folder in run.rulebooks.items()}
    return programs_of(read, run.machines, run.seed, run.first_day, run.errors)


def programs_of(
    read: Mapping[str, Rulebook], machines: int, seed: int, first_day: date, errors: Errors
) -> Callable[[int], dict[str, Year]]:
    """The same under rulebooks that are read; the first is the world's."""
    world = World(next(iter(read.values())), seed, errors)
    fleet = made_up_fleet(world.rulebook, machines, seed, first_day)
    plays: dict[str, Play] = {
        name: ByRulebook(rulebook, compile_rulebook(rulebook, "plain")) for name, rulebook in read.items()
    }
    plays[ALWAYS_SEND] = always_send
    return lambda number: {
        name: play_year(world, play, fleet, number, first_day) for name, play in plays.items()
    }


def spread(values: Iterable[float]) -> Spread:
    numbers = np.array(list(values))
    low, high = np.percentile(numbers, RANGE)
    return Spread(float(numbers.mean()), float(low), float(high))


def summed_up(years: Mapping[str, Sequence[Year]]) -> dict[str, dict[str, dict[str, Spread]]]:
    """Program -> `year` and `against_first` -> measure -> spread; the first is not held against itself."""
    first = next(iter(years.values()))
    found = {}
    for number, (name, own) in enumerate(years.items()):
        found[name] = {"year": {each: spread(getattr(one, each) for one in own) for each in MEASURES}}
        if number:
            found[name]["against_first"] = {
                each: spread(getattr(a, each) - getattr(b, each) for a, b in zip(own, first, strict=True))
                for each in MEASURES
            }
    return found
