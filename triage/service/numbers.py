"""What the program did in numbers; what was claimed and spent, as far as the viewer may see it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from triage.records.caller import Caller
from triage.repairs import overview, weeks
from triage.repairs.exports import SpendBy, claim_rows, read_days, spend_rows
from triage.repairs.period import EARLIER, Period, read_period
from triage.repairs.period_numbers import period_numbers
from triage.service.service import Service
from triage.store.tables.desk import NO_FILTERS, Filters, View
from triage.values.cursor import cursor_text, read_cursor


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


def claims(
    service: Service,
    viewer: Caller,
    since: str | None,
    until: str | None,
    cursor: str | None = None,
    closings: int = 200,
) -> tuple[list[dict[str, Any]], str | None]:
    """The lines that warranty pays, of the next so many tickets closed from one day to another.

    Oldest first, with the cursor of the next page.
    """
    after = None if cursor is None else read_cursor(cursor, str, int)
    with service.store.read() as work:
        period = _moments(since, until)
        found = work.closings.claims(*period, _only(viewer), after, closings + 1)
    shown = found[:closings]
    following = cursor_text(*shown[-1][0]) if len(found) > closings else None
    return claim_rows((ticket, closed) for (_, ticket, _), closed in shown), following


def all_claims(
    service: Service, viewer: Caller, since: str | None, until: str | None
) -> Iterator[list[dict[str, Any]]]:
    """The same page by page, to the last."""
    cursor = None
    while True:
        rows, cursor = claims(service, viewer, since, until, cursor)
        yield rows
        if cursor is None:
            return


def spend(
    service: Service, viewer: Caller, by: SpendBy, since: str | None, until: str | None
) -> list[dict[str, Any]]:
    """What was spent by contractor, machine or cause; to a technician, on the own contractor's visits."""
    period = _moments(since, until)
    with service.store.read() as work:
        closings = work.closings.spent(by, *period, _only(viewer))
        loaded = () if _only(viewer) is not None else work.closings.repairs_without(*period)
        return spend_rows(closings, loaded, by, service.rulebook.currency)


def _moments(since: str | None, until: str | None) -> tuple[datetime | None, datetime | None]:
    """From the beginning of the first day to the end of the last, in UTC."""
    first, last = read_days(since, until)
    return (
        None if first is None else datetime.combine(first, time(), UTC),
        None if last is None or last == date.max else datetime.combine(last, time(), UTC) + timedelta(days=1),
    )


def _only(viewer: Caller) -> str | None:
    """The contractor whose closings alone the viewer sees, "" for none; None who sees all."""
    return None if viewer.may_see(None) else viewer.contractor or ""
