"""Several people estimate, approve, hand over, revise, close, reopen and swap; the test's own ledger adds up.

The ledger knows the tables of limits and rates and the service hours, and nothing of the program. After every
step each door says what the ledger says was spent, was promised and is left.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from tests.api.money_world import (
    CEILING,
    FACTOR,
    HOUR,
    NTE,
    TRIP,
    YEAR,
    World,
    leak_files,
    money_files,
    money_world,
)
from tests.triage.services import NOON
from triage.loading.depot import put_depot
from triage.records.custody import DepotUnit

HOURS = st.sampled_from([1, 2, 3, 4, 5, 6, 7, 9, 12])
LAST = 6
INDEX = st.integers(0, LAST)
RARELY = st.sampled_from([False, False, False, False, True])
LATE = st.sampled_from([None, None, True, False])
SWAP_ABOVE = 1200
REOPEN_DAYS = 30
THERE = ZoneInfo("America/New_York")
OTHER = {"fogline": "tern", "tern": "fogline"}


def outside(at: datetime) -> bool:
    """Whether it is before 08:00, from 17:00 on, or a weekend where the machine stands."""
    there = at.astimezone(THERE)
    return there.weekday() >= 5 or not 8 <= there.hour < 17


def price(ticket: Account, hours: int, late: bool | None) -> Decimal:
    """A trip and labor, as is said; else each quarter of an hour by when it is, where a visit is planned."""
    contractor, visit_at = ticket.contractor, ticket.visit_at
    total = Decimal(TRIP[contractor])
    for quarter in range(hours * 4):
        dear = late
        if dear is None:
            dear = (
                ticket.due_late if visit_at is None else outside(visit_at + timedelta(minutes=15 * quarter))
            )
        total += Decimal(HOUR[contractor]) / 4 * (Decimal(FACTOR[contractor]) if dear else 1)
    return total


def text(amount: Decimal) -> str:
    return f"{amount:.2f}"


@dataclass
class Authorized:
    number: str
    amount: Decimal
    estimate: int
    expires_at: datetime


@dataclass
class Account:
    """One ticket as the ledger has it."""

    id: str
    contractor: str
    reported_at: datetime
    closed_at: datetime | None = None
    open: bool = True
    spent: Decimal = Decimal(0)
    revisions: int = 0
    numbers: int = 0
    estimated: Decimal | None = None
    answered: bool = False
    authorized: Authorized | None = None
    visits: int = 0
    hours: int = 1  # of the last estimate
    visit_at: datetime | None = None
    said_late: bool | None = None
    dear: bool = False

    @property
    def due_late(self) -> bool:
        return outside(self.reported_at + timedelta(hours=4))

    @property
    def late(self) -> bool:
        """Who has no visit planned is due four hours after the report, or after it was reopened."""
        if self.said_late is not None:
            return self.said_late
        return outside(self.visit_at or self.reported_at + timedelta(hours=4))


@dataclass
class Ledger:
    tickets: list[Account] = field(default_factory=list)
    paid: list[tuple[datetime, Decimal]] = field(default_factory=list)

    def spent_year(self, now: datetime) -> Decimal:
        """No run of the test lasts a year."""
        return sum((amount for _, amount in self.paid), Decimal(0))

    def promised(self, ticket: Account, now: datetime) -> Decimal:
        others = (one.authorized for one in self.tickets if one is not ticket and one.open)
        return sum((one.amount for one in others if one is not None and now < one.expires_at), Decimal(0))

    def left(self, ticket: Account, now: datetime) -> Decimal:
        own = NTE[ticket.contractor][ticket.late] - ticket.spent
        year = YEAR - self.spent_year(now) - self.promised(ticket, now)
        return max(Decimal(0), min(own, year))


class Money(RuleBasedStateMachine):
    """Two tickets of one machine; `world` is one program for all examples, each with a machine of its own."""

    world: World

    def __init__(self) -> None:
        super().__init__()
        self.world.clock.time = NOON
        self.serial = self.world.machine("fogline")
        self.unit = self.serial.replace("MX20", "DX20")
        unit = DepotUnit(
            self.unit, "LH-20", 115, 20, "grooved", date(2026, 1, 10), "Stores", date(2025, 12, 1)
        )
        with self.world.service.store.write() as work:
            put_depot(work, [unit])
        self.ledger = Ledger()

    @initialize(hours=st.sampled_from([0, 2, 9]))
    def report(self, hours: int) -> None:
        """Someone is due by day, after the service hours, or at night."""
        self.world.clock.move(hours=hours)
        for _ in range(2):
            self.ledger.tickets.append(Account(self.world.ticket(self.serial), "fogline", self.now))

    @property
    def now(self) -> datetime:
        return self.world.clock()

    def account(self, index: int) -> Account:
        """An open ticket where there is one, but for the last index."""
        tickets = self.ledger.tickets
        found = [one for one in tickets if one.open] if index < LAST else []
        return (found or tickets)[index % len(found or tickets)]

    def path(self, ticket: Account, rest: str = "") -> str:
        return f"/v1/tickets/{ticket.id}{rest}"

    @rule(index=INDEX, hours=HOURS, late=LATE, stranger=RARELY)
    def estimate(self, index: int, hours: int, late: bool | None, stranger: bool) -> None:
        """The first one or a revision of it."""
        ticket = self.account(index)
        by = OTHER[ticket.contractor] if stranger else ticket.contractor
        lines = [{"kind": "trip"}, {"kind": "labor", "hours": hours}]
        body: dict[str, Any] = {"cause": "other", "lines": lines}
        if late is not None:
            body["after_hours"] = late
        response = self.world.send("POST", self.path(ticket, "/estimates"), body, by)
        if stranger:
            assert response.status_code == 404
            return
        if not ticket.open:
            assert response.status_code == 409
            return
        assert response.status_code == 201, response.json
        said: Any = response.json
        amount = price(ticket, hours, late)
        ticket.said_late, ticket.hours, before = late, hours, ticket.authorized
        left = self.ledger.left(ticket, self.now)
        ticket.revisions += 1
        ticket.estimated, ticket.answered, ticket.authorized = amount, False, None
        assert said["estimate"]["beyond_warranty"] == f"{text(amount)} USD"
        ticket.dear = amount > SWAP_ABOVE
        if ticket.dear:
            assert said["answer"] == "swap"
            return
        if amount <= left:
            self.authorize(ticket, amount, ticket.revisions, self.now + timedelta(days=30))
        elif before is not None and before.estimate == 0 and self.stands(before) and amount <= before.amount:
            self.authorize(ticket, before.amount, ticket.revisions, before.expires_at)
        assert said["answer"] == ("approve" if ticket.answered else "hold")

    def stands(self, authorized: Authorized) -> bool:
        return self.now < authorized.expires_at

    def authorize(self, ticket: Account, amount: Decimal, estimate: int, expires_at: datetime) -> None:
        ticket.numbers += 1
        ticket.answered = True
        ticket.authorized = Authorized(f"{ticket.id}-A{ticket.numbers}", amount, estimate, expires_at)

    @rule(
        index=INDEX,
        answer=st.sampled_from(["yes", "no", "yes_up_to"]),
        up_to=st.sampled_from([100, 600, 1100, 1900]),
        days=st.sampled_from([None, 2, 60]),
    )
    def approve(self, index: int, answer: str, up_to: int, days: int | None) -> None:
        """An authority answers the last estimate, or says beforehand what may be spent."""
        ticket = self.account(index)
        revision = ticket.revisions if ticket.estimated is not None else 0
        body = {"estimate": revision, "answer": answer, "authority": "ops_lead", "why": "As agreed."}
        body["person"] = "Robin Vale"
        if answer == "yes_up_to":
            body["amount"] = f"{up_to}.00 USD"
        expires_at = self.now + timedelta(days=days or 30)
        if days is not None:
            body["expires_at"] = expires_at.isoformat()
        response = self.world.send("POST", self.path(ticket, "/approvals"), body, "ops")
        if not ticket.open or ticket.answered:
            assert response.status_code == 409
            return
        amount = {"yes": ticket.estimated, "no": None, "yes_up_to": Decimal(up_to)}[answer]
        if (answer == "yes" and amount is None) or (amount or 0) + ticket.spent > CEILING:
            assert response.status_code == 422
            return
        assert response.status_code == 201, response.json
        ticket.answered = True
        if amount is not None:
            self.authorize(ticket, amount, revision, expires_at)

    @rule(index=INDEX)
    def hand_over(self, index: int) -> None:
        """The other contractor is sent; what the one before was promised is over."""
        ticket = self.account(index)
        new = OTHER[ticket.contractor]
        at = (self.now + timedelta(days=1)).replace(hour=15, minute=0)  # whole quarters of an hour to price
        body = {"state": "scheduled", "contractor": new, "at": at.isoformat()}
        if ticket.visits:
            body["visit"] = ticket.visits
        response = self.world.send("POST", self.path(ticket, "/visits"), body)
        shown = self.world.get(self.path(ticket))
        if response.status_code == 409:
            assert shown["state"] == "closed" or shown["contractor"] == ticket.contractor
            assert shown["state"] == "closed" or shown["outcome"] in ("hold", "fix_in_store")
            return
        assert response.status_code == 201, response.json
        ticket.visits = response.json["visit"]  # type: ignore[index]
        ticket.contractor, ticket.authorized = new, None
        ticket.estimated, ticket.answered, ticket.dear = None, False, False
        ticket.visit_at, ticket.said_late = at, None
        events = self.world.get(self.path(ticket, "/events"), by=new)["items"]
        own = [event for event in events if event["kind"] in ("estimated", "approved", "closed")]
        assert all(TRIP[new] == Decimal(trip_of(event)) for event in own if event["kind"] != "approved")

    @rule(index=INDEX, hours=st.one_of(st.none(), HOURS), named=st.sampled_from([True, True, True, False]))
    def close(self, index: int, hours: int | None, named: bool) -> None:
        """As estimated, or with other hours."""
        ticket = self.account(index)
        by, hours = ticket.contractor, hours or ticket.hours
        body: dict[str, Any] = {
            "cause": "dirty_filter",
            "cured_by": "repair",
            "lines": [{"kind": "trip"}, {"kind": "labor", "hours": hours}],
        }
        authorized = ticket.authorized
        if named and authorized is not None:
            body["authorization"] = authorized.number
        amount = price(ticket, hours, ticket.said_late)
        left = self.ledger.left(ticket, self.now)
        response = self.world.send("POST", self.path(ticket, "/close"), body, by)
        if not ticket.open:
            assert response.status_code == 409
            return
        if authorized is None:
            allowed = amount <= left
        else:
            allowed = named and amount <= authorized.amount and self.now < authorized.expires_at
        assert response.status_code == (200 if allowed else 422), response.json
        if not allowed:
            return
        assert response.json["closed"]["cost"] == f"{text(amount)} USD"  # type: ignore[index]
        ticket.open, ticket.closed_at, ticket.spent = False, self.now, ticket.spent + amount
        ticket.estimated, ticket.answered, ticket.authorized = None, False, None
        self.ledger.paid.append((self.now, amount))
        self.world.clock.move(minutes=1)

    @precondition(lambda self: any(not one.open for one in self.ledger.tickets))
    @rule(data=st.data())
    def reopen(self, data: st.DataObject) -> None:
        ticket = data.draw(st.sampled_from([one for one in self.ledger.tickets if not one.open]))
        late = (
            self.now.astimezone(THERE).date() - ticket.closed_at.astimezone(THERE).date()
        ).days > REOPEN_DAYS
        self.world.post(self.path(ticket, "/reopen"), {"why": "It is back."}, status=409 if late else 200)
        if late:
            return
        ticket.reported_at = self.now
        ticket.open, ticket.visit_at, ticket.said_late, ticket.dear = True, None, None, False

    @precondition(lambda self: any(one.dear for one in self.ledger.tickets))
    @rule(index=INDEX)
    def swap(self, index: int) -> None:
        """A unit is sent and taken back, or refused; neither moves money."""
        ticket = self.account(index)
        response = self.world.send("POST", self.path(ticket, "/swap"), {"unit": self.unit})
        outcome = self.world.get(self.path(ticket))["outcome"]
        assert response.status_code == (200 if ticket.open and outcome == "swap" else 409), response.json
        if response.status_code == 200:
            self.world.post(self.path(ticket, "/swap"), {"unit": None}, status=200)

    @rule(days=st.sampled_from([1, 3, 20]))
    def wait(self, days: int) -> None:
        self.world.clock.move(days=days)

    @invariant()
    def every_door_agrees(self) -> None:
        for ticket in self.ledger.tickets:
            shown = self.world.get(self.path(ticket))
            authorized = shown["repair"]["authorization"]
            stands = authorized is not None and authorized["state"] == "open"
            assert stands == (ticket.authorized is not None)
            for by in ("agent", ticket.contractor) if ticket.open else ("agent",):
                limit = self.world.limit(self.serial, ticket.id, by)
                assert self.as_answered(limit) == self.as_kept(ticket)

    @staticmethod
    def as_answered(limit: dict[str, Any]) -> dict[str, Any]:
        keys = ("nte", "spent_on_ticket", "spent_12_months", "promised", "headroom", "authorization")
        return {key: limit[key] for key in keys}

    def as_kept(self, ticket: Account) -> dict[str, Any]:
        now, one = self.now, ticket.authorized
        usable = one is not None and now < one.expires_at
        return {
            "nte": text(Decimal(NTE[ticket.contractor][ticket.late])),
            "spent_on_ticket": text(ticket.spent),
            "spent_12_months": text(self.ledger.spent_year(now)),
            "promised": text(self.ledger.promised(ticket, now)),
            "headroom": text(self.ledger.left(ticket, now)),
            "authorization": {
                "number": one.number,
                "amount": f"{text(one.amount)} USD",
                "expires_at": one.expires_at.isoformat(),
            }
            if one is not None and usable
            else None,
        }


def trip_of(event: dict[str, Any]) -> str:
    line = next(line for line in event["payload"]["lines"] if line["kind"] == "trip")
    return str(line["amount"]).split()[0]


def run(world: World, examples: int, steps: int, same: bool = True) -> None:
    machine = type("MoneyHere", (Money,), {"world": world})
    how = settings(
        max_examples=examples,
        stateful_step_count=steps,
        deadline=None,
        derandomize=same,
        phases=[Phase.generate],  # a failure is told as it was found; making it shorter takes minutes
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(machine, settings=how)


@pytest.fixture(params=[money_files, leak_files], ids=["urgent-by-default", "urgent-by-rule"])
def world(request: pytest.FixtureRequest, tmp_path: Path, store_url: str) -> Iterator[World]:
    with money_world(tmp_path, store_url, request.param()) as running:
        yield running


def test_the_doors_and_the_ledger_agree_at_every_step(world: World) -> None:
    run(world, examples=10, steps=16)


@pytest.mark.nightly
def test_the_doors_and_the_ledger_agree_in_long_runs(world: World) -> None:
    run(world, examples=60, steps=40, same=False)
