"""What the machines on record teach of their models' fleets: how often they fail, and how alike they are."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from triage.machine.lifecycle.fleet import Fleet, fit_fleet
from triage.machine.lifecycle.life_numbers import DAYS_PER_YEAR, PastVisit, observed
from triage.records.report import Machine, PastRepair


@dataclass(frozen=True, slots=True)
class FleetSeen:
    """A model's machines in service, what is on record of them, and the fleet that fits best.

    The fleet is None without a failure.
    """

    model: str
    machines: int
    failures: int
    years: float
    fleet: Fleet | None


def fleets(
    machines: Iterable[Machine], repairs: Iterable[tuple[str, PastRepair]], now: datetime
) -> tuple[FleetSeen, ...]:
    """Each model's fleet as of `now`, by its name; a visit that found no fault is no failure."""
    visits: dict[str, list[PastVisit]] = {}
    for serial, past in repairs:
        visit = PastVisit(past.at, past.cause is not None, past.cost.amount)
        visits.setdefault(serial, []).append(visit)
    records: dict[str, list[tuple[int, float]]] = {}
    for machine in machines:
        seen = observed(machine, visits.get(machine.serial, ()), now)
        if seen is not None:
            record = (len(seen.free_times), seen.end / DAYS_PER_YEAR)
            records.setdefault(machine.model, []).append(record)
    return tuple(_seen(model, known) for model, known in sorted(records.items()))


def _seen(model: str, records: list[tuple[int, float]]) -> FleetSeen:
    failures, years = sum(count for count, _ in records), sum(time for _, time in records)
    return FleetSeen(model, len(records), failures, years, fit_fleet(records) if failures else None)
