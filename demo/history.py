"""Plays two years of tickets into the demo's database: `python -m demo.history [TICKETS]`.

Causes, answers and cures come from the rulebook's own numbers (`triage.simulation`), seeded; visits cost what
their cause costs by the contractor's agreement. The last calls are from the week before last, so that all are
closed. The engine is the plain one here; it decides the same and is quicker.
"""

from __future__ import annotations

import json
import random
import sys
from collections import Counter
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

from rich.progress import track

from demo import lives
from demo.make_data import AS_OF
from triage.cli.shown.opened import opened_service
from triage.cli.shown.output import messages
from triage.config import read_settings
from triage.loading.depot import put_depot
from triage.records.caller import Caller
from triage.records.custody import DepotUnit
from triage.records.report import Machine
from triage.records.ticket import Ticket
from triage.service import repairs, swaps, tickets, visits
from triage.service.service import Service
from triage.simulation.world import Errors, Fault, World
from triage.values.errors import InputError

TICKETS = 330
DAYS = 730
QUIET_DAYS = 8
APART = timedelta(days=6)
"""Between two calls for one machine, so that the first is closed before the second begins."""

SEED = 20
MOST_STEPS = 40
AGENTS = tuple(Caller(name, "agent") for name in ("Ines", "Marlow", "Prue"))
LEAD = Caller("Odile", "ops")
SPARE = tuple(
    DepotUnit(
        f"{model}-2010{number}",
        f"{model[:2]}-{model[2:]}",
        115,
        20,
        "grooved",
        AS_OF - timedelta(days=DAYS),
        "Lanternway Stores East",
        AS_OF - timedelta(days=DAYS + 40),
    )
    for model in ("LH20", "LH30")
    for number in (1, 2)
)
"""Units that waited at the depot two years ago."""
SHOWN = frozenset(
    json.loads(path.read_text())["report"].get("machine")
    for path in Path(__file__).parent.glob("reports/*.json")
)
"""Machines that the demo's reports are about, which therefore stay where they are."""
WHY = "Looked at on site and made safe."


@dataclass
class History:
    service: Service
    world: World
    at: datetime
    dice: random.Random = field(default_factory=lambda: random.Random(SEED))
    ends: Counter[str] = field(default_factory=Counter)
    gone: set[str] = field(default_factory=set)

    def play(self, machine: Machine, number: int, at: datetime) -> None:
        """One ticket from the call to its closing."""
        self.at, who = at, self.dice.choice(AGENTS)
        fault = self.world.fault(f"history {number}")
        ticket = self._call(machine, fault, who)
        if ticket.solved:
            cured = next(one for one in ticket.report["checks"] if one["result"] == "cured")["check"]
            self._close(ticket, {"cause": fault.causes[0], "cured_by": cured}, who, "fixed in store")
        elif ticket.outcome != "swap" or machine.serial in SHOWN or not self._swap(ticket, fault):
            self._visit(ticket, fault, machine)

    def _swap(self, ticket: Ticket, fault: Fault) -> bool:
        """A unit that fits is sent two days later; whether there was one."""
        units = [one.unit.serial for one in swaps.swap(self.service, ticket.id, LEAD).units if one.fits]
        if not units:
            return False
        swaps.reserve(self.service, ticket.id, {"unit": units[0]}, LEAD)
        self.at += timedelta(days=2)
        swaps.confirm(self.service, ticket.id, {"old_unit": "scrap"}, LEAD)
        self.gone.add(str(ticket.machine))
        self._close(ticket, {"cause": fault.causes[0], "cured_by": "repair"}, LEAD, "swapped")
        return True

    def _call(self, machine: Machine, fault: Fault, who: Caller) -> Ticket:
        told = self.world.told(fault)
        ticket = tickets.open_ticket(
            self.service, {"machine": machine.serial, "symptoms": [*fault.symptoms], "answers": told}, who
        )
        for _ in range(MOST_STEPS):
            decision = ticket.decision or {}
            if ticket.solved:
                break
            if decision["questions"]:
                ticket = self._ask(ticket, fault, decision["questions"][0]["fact"], who)
            elif ticket.outcome == "fix_in_store" and decision["plan"]:
                ticket = self._check(ticket, fault, decision["plan"][0], who)
            else:
                break
        return ticket

    def _ask(self, ticket: Ticket, fault: Fault, fact: str, who: Caller) -> Ticket:
        self.at += timedelta(seconds=self.service.rulebook.facts[fact].ask_seconds)
        said = self.world.answer(fault, fact)
        if said is None:
            return tickets.answer(self.service, ticket.id, {}, who, unknown=[fact])
        return tickets.answer(self.service, ticket.id, {fact: said}, who)

    def _check(self, ticket: Ticket, fault: Fault, step: dict[str, Any], who: Caller) -> Ticket:
        self.at += timedelta(minutes=step["minutes"] + step["wait_minutes"])
        fixed = self.world.fixed(fault, step["check"], {})
        result = "could_not_do" if fixed is None else "cured" if fault.causes[0] in fixed else "not_cured"
        return tickets.record_check(self.service, ticket.id, step["check"], result, who)

    def _visit(self, ticket: Ticket, fault: Fault, machine: Machine) -> None:
        """Somebody comes, says what it will cost, waits for a yes where one is needed, and closes."""
        if ticket.outcome == "hold":
            likely = (ticket.decision or {})["limit"]["expected_repair"].split()[0]
            amount = f"{likely} {self.service.rulebook.currency}"
            ticket = self._approve(ticket, {"answer": "yes_up_to", "amount": amount})
        sent = {"state": "scheduled", "contractor": machine.contractor}
        ticket, visit = visits.record_visit(self.service, ticket.id, sent, AGENTS[0])
        self.at = max(self.at, visit.at)
        van = Caller(f"{visit.contractor} van", "technician", contractor=visit.contractor)
        lines = self._lines(fault)
        ticket = repairs.estimate(self.service, ticket.id, {"cause": fault.causes[0], "lines": lines}, van)
        estimate = ticket.repair.estimate
        if estimate is not None and estimate.answer != "approve" and ticket.repair.authorization is None:
            ticket = self._approve(ticket, {"estimate": estimate.revision, "answer": "yes"})
        self.at += timedelta(hours=1 + float(self._labor(fault)))
        done = {"cause": fault.causes[0], "cured_by": "repair", "lines": lines}
        try:
            self._close(ticket, done, van, "visited")
        except InputError:  # above what was authorized
            done = {
                "cause": fault.causes[0],
                "cured_by": "nothing",
                "note": "Not worth it: taken out of use.",
            }
            self._close(ticket, done, AGENTS[0], "given up")

    def _approve(self, ticket: Ticket, said: dict[str, Any]) -> Ticket:
        """By whoever is asked; where nobody is, the lead writes down what the area manager said."""
        self.at += timedelta(hours=2)
        estimate = ticket.repair.estimate
        asked = None if estimate is None else estimate.ask
        authority = ticket.decided.limit.authority if estimate is None else asked and asked.authority
        said |= {"why": "Worth it on this machine."}
        if authority is None:
            who, said = LEAD, {**said, "authority": "area_manager", "person": "Robin Vale"}
        else:
            who = Caller(authority.replace("_", " "), "authority", authority=authority)
        return repairs.approve(self.service, ticket.id, said, who)

    def _labor(self, fault: Fault) -> Any:
        known = self.service.rulebook.causes.get(fault.causes[0])
        return 1 if known is None else known.repair.labor_hours

    def _lines(self, fault: Fault) -> list[dict[str, Any]]:
        known = self.service.rulebook.causes.get(fault.causes[0])
        parts = {} if known is None else known.repair.parts
        lines: list[dict[str, Any]] = [{"kind": "trip"}, {"kind": "labor", "hours": self._labor(fault)}]
        lines += [{"kind": "part", "number": number, "quantity": count} for number, count in parts.items()]
        return [*lines, {"kind": "freight"}] if parts else lines

    def _close(self, ticket: Ticket, said: dict[str, Any], who: Caller, end: str) -> None:
        authorization = ticket.repair.authorization
        if authorization is not None and authorization.state == "open" and who.role == "technician":
            said["authorization"] = authorization.number
        if ticket.dangers.standing:
            said |= {"made_safe": True, "note": WHY}
        repairs.close(self.service, ticket.id, said, who)
        self.ends[end] += 1


def play(service: Service, history: History, count: int, until: datetime) -> None:
    """`count` calls spread over the two years before `until`; one that the rules stop stays open."""
    with service.store.read() as work:
        fleet = work.machines.all()
    begin, taken = until - timedelta(days=DAYS), dict[str, datetime]()
    spread = timedelta(days=DAYS - QUIET_DAYS)
    times = sorted(begin + history.dice.random() * spread for _ in range(count))
    for number, at in enumerate(track(times, "Two years of tickets", console=messages())):
        able = [
            one
            for one in fleet
            if one.commissioned_on is not None
            and one.serial not in history.gone
            and one.commissioned_on < at.date()
            and at - taken.get(one.serial, begin - APART) > APART
        ]
        machine = history.dice.choice(able)
        taken[machine.serial] = at
        try:
            history.play(machine, number, at.replace(microsecond=0))
        except InputError as error:
            history.ends[f"left open: {error.told[0]}"] += 1


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else TICKETS
    until = datetime.combine(AS_OF, time(), UTC)
    moved: list[History] = []
    settings = replace(read_settings(), engine="plain")

    def clock() -> datetime:
        return moved[0].at if moved else until - timedelta(days=DAYS + 1)

    with opened_service(settings, clock) as service:
        world = World(service.rulebook, SEED, Errors(mishear=0.01, dangers=0.01))
        moved.append(History(service, world, clock()))
        with service.store.write() as work:
            put_depot(work, SPARE)
        lives.play(service, lambda at: setattr(moved[0], "at", at), until - timedelta(days=DAYS), until)
        play(service, moved[0], count, until)
        lives.keep_up(service, until, SHOWN)
    for end, tickets_ended in moved[0].ends.most_common():
        print(f"{tickets_ended:4} {end}")


if __name__ == "__main__":
    main()
