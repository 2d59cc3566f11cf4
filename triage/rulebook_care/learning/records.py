"""Closed tickets and fleets as the learning needs them, from the records, and what is assumed of them."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from triage.decide.causes.inference import infer
from triage.decide.causes.ranking import ranking_tables
from triage.decide.decide_data import Inputs, inputs_from_data
from triage.decide.facts import gather_facts
from triage.machine.lifecycle.life_numbers import DAYS_PER_YEAR, PastVisit, observed
from triage.machine.lifecycle.trend import Fleet, fit_fleet
from triage.machine.measures.measure import calculated
from triage.records.report import Machine, PastRepair
from triage.rulebook_care.learning.learning import ClosedTicket
from triage.rulebook_care.release.piece import Ready
from triage.store.tables.replay_runs import RecordedDecision
from triage.values.errors import InputError


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


ASSUMED = (
    "Assumed: a ticket has one fault; given its cause, what is observed and what each check fixes are "
    "independent; the store is right where it says that a check fixed it; and whether a cause gets confirmed "
    "hangs only on what is recorded of the ticket, not on the cause itself."
)
FEW_CONFIRMED = 20
"""With fewer confirmed causes what hidden ones say rests on the rulebook. Common practice, no source."""


@dataclass(slots=True)
class Closed:
    """How many closed tickets there are, and how many have a confirmed cause or a check that fixed them."""

    closed: int = 0
    confirmed: int = 0
    cured_unconfirmed: int = 0
    several_symptoms: int = 0
    unreadable: int = 0

    def notes(self) -> Iterator[str]:
        """What the numbers rest on, and where the tickets are too thin."""
        hidden = self.closed - self.unreadable - self.confirmed
        yield (
            f"Learned from {self.closed - self.unreadable} of {self.closed} closed tickets: {self.confirmed} "
            f"with a confirmed cause, {hidden} without one by what was seen of them "
            f"({self.cured_unconfirmed} fixed by a check)."
        )
        yield ASSUMED
        if self.confirmed < FEW_CONFIRMED:
            yield (
                f"Too thin: fewer than {FEW_CONFIRMED} confirmed causes. What the other tickets say of "
                "causes hangs on the rulebook's own numbers."
            )
        if self.several_symptoms:
            yield f"{self.several_symptoms} tickets with several symptoms teach nothing about shares."
        if self.unreadable:
            yield f"{self.unreadable} tickets cannot be read with this rulebook and were left out."


def closed_tickets(
    recorded: Iterable[RecordedDecision], current: Ready, closed: Closed
) -> Iterator[ClosedTicket]:
    """The tickets as far as they can be read; `closed` counts all.

    `recorded` are the last decisions of closed tickets. What was shown is asked of `current`, the rulebook
    that is to learn, whichever decided.
    """
    for one in recorded:
        cause, cured_by = (None, None) if one.closed is None else (one.closed.cause, one.closed.cured_by)
        closed.closed += 1
        try:
            ticket = _ticket(inputs_from_data(one.inputs, current.rulebook), cause, cured_by, current)
        except InputError:
            closed.unreadable += 1
            continue
        closed.confirmed += cause is not None
        closed.cured_unconfirmed += cause is None and (bool(ticket.together) or any(ticket.cured.values()))
        closed.several_symptoms += len(ticket.symptoms) > 1
        yield ticket


def _ticket(inputs: Inputs, cause: str | None, cured_by: str | None, current: Ready) -> ClosedTicket:
    rulebook, report = current.rulebook, inputs.report
    gathered = gather_facts(rulebook, report, inputs.machine, inputs.history, inputs.at)
    facts, _ = calculated(rulebook, gathered)
    inference = infer(rulebook, current.engine, {name: known.value for name, known in facts.items()})
    shown: dict[str, bool] = {}
    for observation in ranking_tables(rulebook).observations:
        state = observation.seen(inference.evidence)
        if state is not None:
            shown |= {rule: index == state for index, rule in enumerate(observation.rules)}
    joint = [done for done in report.checks if done.result == "cured" and done.together]
    together = tuple(dict.fromkeys(check for done in joint for check in (done.check, *done.together)))
    cured = {
        done.check: done.result == "cured"
        for done in report.checks
        if done.result in ("cured", "not_cured") and done.check not in together
    }
    if cured_by in rulebook.checks and cured_by not in together:
        cured[str(cured_by)] = True
    return ClosedTicket(tuple(dict.fromkeys(report.symptoms)), cause, shown, cured, together)
