"""What a ticket's decision hangs on besides the ticket: what stands open and authorized on its machine."""

from dataclasses import dataclass
from datetime import datetime

from triage.records.authorization import Authorization
from triage.records.danger import Danger
from triage.store.work import Work
from triage.values.money import Money, sum_money


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
