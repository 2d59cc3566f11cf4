"""What the program did in numbers; what was claimed and spent, as far as the viewer may see it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import UTC, date, datetime, time, timedelta
from shutil import disk_usage
from typing import Any

from triage.records.caller import Caller
from triage.repairs import overview
from triage.repairs.exports import SpendBy, claim_rows, read_days, spend_rows
from triage.repairs.period import GROUPS, By, Period, Sums, Tally, read_period
from triage.repairs.period_numbers import Recorded, group_numbers, hours_of, period_numbers
from triage.repairs.weeks import key_numbers, last_week, month_of, periods_to, week_of
from triage.service.service import Service, measures
from triage.simulation.quick import Programs, quick_years
from triage.store import Work
from triage.store.summing import sum_days
from triage.store.tables.derived.counted import COUNTED as COUNTED
from triage.store.tables.desk import NO_FILTERS, Filters, View
from triage.values.cursor import cursor_text, read_cursor
from triage.values.errors import InputError, Problem

MEASURED_BY = ("day", "week", "month")
GROUPED_BY = (*GROUPS[1:], *MEASURED_BY)


def numbers(
    service: Service,
    since: str | None,
    until: str | None,
    by: str | None = None,
    of: str | None = None,
    most: int | None = None,
) -> dict[str, Any]:
    """The numbers of two days' period, and those of each group; InputError for what is no period or group.

    `by` is one of GROUPED_BY; with `most` the first so many are told, and `group_count` says of how many.
    `of` is a group's key, such as `site:LH-012`: only what stands under it is counted.
    """
    now = service.now()
    period, (within, key) = read_period(since, until, now), _read_group(of)
    if by is not None and by not in GROUPED_BY:
        raise InputError([Problem(f"group by one of {', '.join(GROUPED_BY)}", "query:by")])
    if of is not None and by is not None and by not in MEASURED_BY:
        raise InputError([Problem(f"what stands under {of} is told by day, week or month", "query:by")])
    left = sum_days(service.store, period)
    currency = service.rulebook.currency
    with service.store.read() as work:
        sums = work.day_sums
        groups = [] if by is None else _groups(work, period, by, within, key)
        told = [{"key": name, **group_numbers(one, currency)} for name, one in groups[:most]]
        counted = {"groups": told} | ({} if most is None else {"group_count": len(groups)})
        total = sums.total(period, within, key)
        if of is not None:
            days = {"since": period.first.isoformat(), "until": period.last.isoformat()}
            told_of = {"currency": currency, **group_numbers(total, currency), **counted}
            return {**days, "days_to_sum": left, **told_of}
        recorded = Recorded(
            total=total,
            outcomes=sums.by_key(period, "outcome"),
            symptoms=sums.by_key(period, "symptom"),
            causes=sums.by_key(period, "cause"),
            last_outcomes=sums.tallies(period, "last_outcome"),
            hours=sums.tallies(period, "hours"),
            checks=sums.tallies(period, "check"),
            rules=sums.tallies(period, "rule"),
            questions=sums.tallies(period, "question"),
            swaps=sums.tallies(period, "swap"),
            held=tuple(work.numbers.held_since()),
        )
    return {**period_numbers(recorded, service.rulebook, period, now), "days_to_sum": left, **counted}


def _read_group(of: str | None) -> tuple[By, str]:
    if of is None:
        return "all", ""
    by, colon, key = of.partition(":")
    for known in GROUPS[1:]:
        if by == known and colon and key.isprintable():
            return known, key
    raise InputError([Problem("write a group and its key, such as site:LH-012", "query:of")])


def _groups(work: Work, period: Period, by: str, within: By, key: str) -> list[tuple[str, Sums]]:
    if by in MEASURED_BY:
        found: dict[str, Sums] = {}
        for day, one in sorted(work.day_sums.by_day(period, within, key).items()):
            name = _measured(day, by)
            found[name] = found.get(name, Sums()) + one
        return list(found.items())
    keys = work.day_sums.by_key(period, by)  # type: ignore[arg-type]  # one of GROUPS
    return sorted(keys.items(), key=lambda each: (-each[1].opened, -each[1].closed, each[0]))


def days_of(by: str, key: str) -> Period:
    """The days that a key of MEASURED_BY stands for."""
    first = date.fromisoformat(f"{key}-01" if by == "month" else key)
    return {"day": Period(first, first), "week": week_of(first), "month": month_of(first)}[by]


def _measured(day: date, by: str) -> str:
    match by:
        case "day":
            return day.isoformat()
        case "week":
            return week_of(day).first.isoformat()
        case _:
            return f"{day:%Y-%m}"


def overview_of(service: Service, since: str | None, until: str | None) -> overview.Overview:
    """A period at a glance; the last week that is over where no day is given. InputError for no period."""
    asked, now = (since, until) != (None, None), service.now()
    return at_a_glance(service, read_period(since, until, now) if asked else last_week(now))


def at_a_glance(service: Service, period: Period) -> overview.Overview:
    """A period at a glance, held against those before it."""
    now, periods = service.now(), periods_to(period)
    left = sum_days(service.store, Period(periods[0].first, period.last))
    with service.store.read() as work:
        sums = work.day_sums
        first = sums.first_day() or period.first
        periods = tuple(one for one in periods if one.first >= first) or periods[-1:]
        span, totals = Period(periods[0].first, period.last), [sums.total(one) for one in periods]
        return overview.Overview(
            period=period,
            span=span,
            numbers=key_numbers(
                totals,
                [hours_of(sums.tallies(one, "hours"))[0] for one in periods],
            ),
            reliability=overview.reliability(sums.tallies(span, "chance")),
            scores=tuple(map(overview.scored, periods, totals)),
            waited=overview.waited(
                sums.tallies(span, "wait"), sums.tallies_by_day(span, "wait", "|open|"), now
            ),
            saved=overview.saved(sums.total(span), sums.tallies(span, "visit_cost").get("", Tally())),
            currency=service.rulebook.currency,
            days_to_sum=left,
        )


def site_names(service: Service, sites: Collection[str] | None = None) -> Mapping[str, str]:
    """Names of these sites, or of all."""
    with service.store.read() as work:
        return work.machines.site_names(sites)


def tickets_by_state(service: Service) -> Mapping[tuple[str, str], int]:
    """How many tickets there are of each (state, outcome)."""
    with service.store.read() as work:
        return work.desk.by_state()


def replays_by_state(service: Service) -> Mapping[str, int]:
    with service.store.read() as work:
        return work.replay_runs.by_state()


def not_sent(service: Service) -> Mapping[str, tuple[int, float]]:
    """How many e-mails (`mail`) and events for each listener wait, and the oldest how many seconds."""
    with service.store.read() as work:
        found = work.outbox.waiting()
    now = service.now()
    return {name or "mail": (count, (now - since).total_seconds()) for name, count, since, _ in found}


def database_bytes(service: Service) -> int:
    return service.store.watched.size_bytes()


def free_bytes(service: Service) -> Mapping[str, int]:
    """What is left on the disks that this program writes to: of the `database`, of `photos`."""
    folders = {"database": service.store.watched.folder, "photos": service.photos}
    return {name: disk_usage(folder).free for name, folder in folders.items() if folder and folder.is_dir()}


def waiting(service: Service, filters: Filters = NO_FILTERS) -> Mapping[View, int]:
    """How many of the tickets that match all filters wait for what."""
    with service.store.read() as work:
        return work.desk.counts(service.now(), filters, measures(service))


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


def played_years(
    service: Service, machines: int, years: int, seed: int, world: str, candidate: str | None = None
) -> Programs:
    """A few years of a made-up fleet under the live rulebook, the `candidate` version, and always sending.

    InputError for what is too much, and for a version that is not kept.
    """
    versions = {"rulebook": service.rulebook.version}
    if candidate is not None:
        versions["candidate"] = candidate
    rulebooks = {}
    with service.store.read() as work:
        for name, version in versions.items():
            files = work.rulebooks.files(version) if version.isprintable() else None
            if files is None:
                raise InputError([Problem(f"no rulebook {version} is kept; see the rulebook's log", name)])
            rulebooks[name] = files
    return quick_years(rulebooks, machines, years, seed, world)
