"""A played year against what can be worked out without playing it."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from tests import RULES
from tests.triage.small_rulebooks import check_of, small_rulebook
from triage.decide.causes.inference import compile_rulebook
from triage.records.report import Machine
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import MachineModel, ResponseTime
from triage.simulation.call import HOURS_TO_ASK, ByRulebook, always_send
from triage.simulation.world import Errors, World
from triage.simulation.year import MEASURES, Run, Year, made_up_fleet, play_year, simulate, spread, summed_up

DAY = date(2026, 1, 1)
EXACT = Errors(mishear=0, cannot_tell=0, dangers=0)
SHARES = {"soft": {"filter": 3, "motor": 1}}
CURE = 0.6


@pytest.fixture
def book() -> Rulebook:
    """A trip is 100, an hour 80; the filter is cured by a check with 0.6; ten calls a machine and year."""
    book = small_rulebook(SHARES, checks=(check_of("rinse", 1, {"filter": CURE}, minutes=30),))
    agreement = replace(book.rates.default, trip=Decimal(100), labor_hour=Decimal(80))
    motor = replace(book.causes["motor"], repair=replace(book.causes["motor"].repair, labor_hours=Decimal(2)))
    return replace(
        book,
        rates=replace(book.rates, default=agreement),
        causes={**book.causes, "motor": motor},
        models={"M": MachineModel("", {}, "", failures_a_year=Decimal(10))},
        service_hours=replace(
            book.service_hours, priorities={3: ResponseTime(Decimal(24), "elapsed")}, default_priority=3
        ),
    )


def _year(book: Rulebook, machines: int, *, send: bool) -> Year:
    world = World(book, 5, EXACT)
    program = always_send if send else ByRulebook(book, compile_rulebook(book, "plain"))
    return play_year(world, program, _fleet(book, machines), 0, DAY)


def _fleet(book: Rulebook, machines: int) -> list[Machine]:
    return [replace(one, contractor=None, site=None) for one in made_up_fleet(book, machines, 5, DAY)]


def test_always_sending_costs_what_the_mean_repair_costs(book: Rulebook) -> None:
    year = _year(book, 200, send=True)
    # Poisson with mean 200 × 10: within four standard deviations.
    assert year.calls == pytest.approx(2000, abs=4 * math.sqrt(2000))
    assert year.visits == year.calls
    assert year.fixed_in_store == 0
    # 3/4 × (100 + 80) + 1/4 × (100 + 160) = 200; the standard deviation of one is 80 × sqrt(3/16).
    assert year.spend / year.calls == pytest.approx(
        200, abs=4 * 80 * math.sqrt(3 / 16) / math.sqrt(year.calls)
    )
    assert year.hours == pytest.approx(24 * year.calls)


def test_the_store_fixes_what_its_check_cures(book: Rulebook) -> None:
    year = _year(book, 60, send=False)
    share = 0.75 * CURE
    deviation = math.sqrt(share * (1 - share) / year.calls)
    assert year.fixed_in_store / year.calls == pytest.approx(share, abs=4 * deviation)
    assert year.visits + year.fixed_in_store == year.calls
    # Half an hour of checking in each call; the book has no limit, so each visit is asked for first.
    assert year.hours == pytest.approx(0.5 * year.calls + (HOURS_TO_ASK + 24) * year.visits)


def test_every_program_meets_the_same_calls(book: Rulebook) -> None:
    assert _year(book, 30, send=True).calls == _year(book, 30, send=False).calls


def test_years_are_the_same_however_many_processes_play_them() -> None:
    run = Run({"rulebook": Path(RULES)}, 4, 11, DAY, Errors())
    heard: list[tuple[int, int]] = []
    alone = simulate(run, 3, 1, lambda count, of: heard.append((count, of)))
    assert alone == simulate(run, 3, 2)
    assert heard == [(1, 3), (2, 3), (3, 3)]
    assert list(alone) == ["rulebook", "always_send"]
    assert sum(year.calls for year in alone["rulebook"]) > 0


def test_a_difference_is_of_the_same_years() -> None:
    first = [Year(**dict.fromkeys(MEASURES, value)) for value in (1.0, 5.0, 9.0)]
    second = [Year(**dict.fromkeys(MEASURES, value)) for value in (2.0, 6.0, 10.0)]
    summed = summed_up({"rulebook": first, "candidate": second})
    assert summed["candidate"]["against_first"]["spend"] == spread([1.0, 1.0, 1.0])
    assert summed["rulebook"]["year"]["visits"].mean == 5
    assert list(summed["rulebook"]) == ["year"]
