"""The repositories of one transaction, and what they say together of a machine."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, get_type_hints

from triage.records.authorization import Authorization
from triage.records.danger import Danger
from triage.store.forgetting import Forgetting
from triage.store.installs.jobs import Installs
from triage.store.installs.training import Trainings
from triage.store.photos import CarePhotos, Photos
from triage.store.tables.care import Care
from triage.store.tables.dangers import OpenDangers
from triage.store.tables.depot import Depot
from triage.store.tables.derived.care_due import CareList
from triage.store.tables.derived.care_months import CareMonths
from triage.store.tables.derived.closings import Closings
from triage.store.tables.derived.day_sums import DaySumRows
from triage.store.tables.derived.fleet import Fleet
from triage.store.tables.derived.judged import Judged
from triage.store.tables.derived.machine_months import MachineMonths
from triage.store.tables.desk import Desk, Presences
from triage.store.tables.idempotency import Responses
from triage.store.tables.machines import Machines
from triage.store.tables.numbers import NumberRecords
from triage.store.tables.outbox import Outbox
from triage.store.tables.replay_runs import RecordedDecisions, ReplayRuns
from triage.store.tables.rulebooks import Rulebooks
from triage.store.tables.tickets import Tickets
from triage.store.tables.tokens import Links, Sessions, Tokens
from triage.store.verify import Verification
from triage.store.wrong_tokens import WrongTokens
from triage.values.money import Money, sum_money


@dataclass(frozen=True)
class Work:
    """The repositories inside one transaction."""

    machines: Machines
    care: Care
    tickets: Tickets
    tokens: Tokens
    sessions: Sessions
    wrong_tokens: WrongTokens
    rulebooks: Rulebooks
    responses: Responses
    desk: Desk
    recorded: RecordedDecisions
    depot: Depot
    replay_runs: ReplayRuns
    presences: Presences
    numbers: NumberRecords
    day_sums: DaySumRows
    closings: Closings
    dangers: OpenDangers
    fleet: Fleet
    care_list: CareList
    care_months: CareMonths
    machine_months: MachineMonths
    judged: Judged
    outbox: Outbox
    links: Links
    photos: Photos
    care_photos: CarePhotos
    installs: Installs
    trainings: Trainings
    verification: Verification
    forgetting: Forgetting
    writes: bool


REPOSITORIES: dict[str, Any] = {name: kind for name, kind in get_type_hints(Work).items() if kind is not bool}


@dataclass(frozen=True, slots=True)
class OnMachine:
    """What a decision hangs on besides its ticket: dangers and authorizations of the machine's other tickets,
    and how many repairs it had.
    """

    dangers: tuple[Danger, ...]
    authorized: tuple[Authorization, ...]
    repairs: int


def on_machine(work: Work, machine: str | None, but: str = "") -> OnMachine:
    return OnMachine(
        work.dangers.of_machine(machine, but=but),
        work.tickets.authorized_on(machine, but),
        work.care.repair_count(machine),
    )


def promised_on(work: Work, serial: str | None, currency: str, now: datetime, but: str = "") -> Money | None:
    """What may still be spent on authorizations of a machine's tickets; None where there are none."""
    valid = [one for one in work.tickets.authorized_on(serial, but) if now < one.expires_at]
    return sum_money((one.amount for one in valid), currency) if valid else None
