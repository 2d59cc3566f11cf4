"""What was claimed and spent, and what one ticket has cost, each as far as the viewer may see it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from triage.records.caller import Caller
from triage.records.ticket import Event
from triage.repairs.exports import SpendBy, claim_rows, read_days, spend_rows

if TYPE_CHECKING:
    from triage.service.service import Service


def claims(service: Service, viewer: Caller, since: str | None, until: str | None) -> list[dict[str, Any]]:
    """The lines that warranty pays, of tickets closed from one day to another."""
    first, last = read_days(since, until)
    with service.store.read() as work:
        return claim_rows(_own(work.tickets.closings(), viewer), first, last)


def spend(
    service: Service, viewer: Caller, by: SpendBy, since: str | None, until: str | None
) -> list[dict[str, Any]]:
    """What was spent by contractor, machine or cause; to a technician, on the own contractor's visits."""
    first, last = read_days(since, until)
    with service.store.read() as work:
        closings = _own(work.tickets.closings(), viewer)
        loaded = () if viewer.role == "technician" else work.care.repairs()
        return spend_rows(closings, loaded, by, service.rulebook.currency, first, last)


def _own(closings: Sequence[Event], viewer: Caller) -> list[Event]:
    return [event for event in closings if viewer.may_see(event.payload["contractor"])]
