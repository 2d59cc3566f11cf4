"""What the program did in numbers; what was claimed and spent, as far as the viewer may see it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from triage.records.caller import Caller
from triage.records.payloads import Closed
from triage.repairs import overview, weeks
from triage.repairs.exports import SpendBy, claim_rows, read_days, spend_rows
from triage.repairs.period import EARLIER, Period, read_period
from triage.repairs.period_numbers import period_numbers
from triage.service.service import Service
from triage.store.tables.desk import NO_FILTERS, Filters, View


def numbers(service: Service, since: str | None, until: str | None) -> dict[str, Any]:
    """The numbers of two days' period; InputError for what is no period."""
    now = service.now()
    period = read_period(since, until, now)
    with service.store.read() as work:
        recorded = work.numbers.between(period.since, period.until, EARLIER)
    return period_numbers(recorded, service.rulebook, period, now)


def week(service: Service, day: date | None = None) -> overview.Overview:
    """The week of a day at a glance; the last one that is over, if left out."""
    return _at_a_glance(service, weeks.weeks_to(service.now(), day))


def month(service: Service, day: date) -> overview.Overview:
    """The month of a day at a glance."""
    return _at_a_glance(service, weeks.months_to(day))


def _at_a_glance(service: Service, periods: Sequence[Period]) -> overview.Overview:
    span, now = weeks.whole(periods), service.now()
    with service.store.read() as work:
        recorded = work.numbers.between(span.since, span.until, EARLIER)
        machines = {one.serial: one.commissioned_on or one.shipped_on for one in work.machines.all()}
    return overview.overview(recorded, machines, service.rulebook, periods, now)


def site_names(service: Service) -> Mapping[str, str]:
    with service.store.read() as work:
        return {site.id: site.name for site in work.machines.sites()}


def tickets_by_state(service: Service) -> Mapping[tuple[str, str], int]:
    """How many tickets there are of each (state, outcome)."""
    with service.store.read() as work:
        return work.desk.by_state()


def waiting(service: Service, filters: Filters = NO_FILTERS) -> Mapping[View, int]:
    """How many of the tickets that match all filters wait for what."""
    with service.store.read() as work:
        return work.desk.counts(service.now(), filters)


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


def _own(closings: Sequence[tuple[str, Closed]], viewer: Caller) -> list[tuple[str, Closed]]:
    return [(ticket, closed) for ticket, closed in closings if viewer.may_see(closed.contractor)]
