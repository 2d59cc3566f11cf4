"""Sites and machines to act on in a period, each with what says so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, timedelta

from triage.repairs import acting
from triage.repairs.acting import Commissioned, Commissioning, Compared, OftenDown, Place, Rate, Rising
from triage.repairs.period import Period, read_period
from triage.service.fleet import care, commissioning
from triage.service.service import Service, one_version
from triage.store.summing import sum_days
from triage.store.tables.derived.care_due import SiteCare

DAYS = 365
"""Without days asked for, so many up to yesterday."""


@dataclass(frozen=True, slots=True)
class ToAct:
    """All but care is of the `period`.

    `tested` machines had enough calls to say whether they rise. `sites` is how care stands today; `kept` and
    `overdue` are calls of machine-months that began with nothing overdue, and of the others.
    """

    period: Period
    places: tuple[Place, ...]
    repeat_share: float | None
    often_down: tuple[OftenDown, ...]
    often_down_sites: tuple[OftenDown, ...]
    rising: tuple[Rising, ...]
    tested: int
    sites: tuple[SiteCare, ...]
    kept: Rate
    overdue: Rate
    overdue_to_kept: Compared | None
    commissioning: Mapping[Commissioning, Rate]
    failed_to_others: Compared | None
    incomplete: tuple[Commissioned, ...]
    days_to_sum: int
    to_judge: int  # commissionings that are not judged yet


@one_version
def to_act(service: Service, since: str | None, until: str | None) -> ToAct:
    """InputError for what is no period."""
    yesterday = service.now().astimezone(UTC).date() - timedelta(days=1)
    if since is None and until is None:
        since, until = f"{yesterday - timedelta(days=DAYS - 1)}", f"{yesterday}"
    period = read_period(since, until, service.now())
    left, to_judge = sum_days(service.store, period), commissioning.judge(service)
    with service.store.read() as work:
        found, share = acting.places(work.day_sums.by_key(period, "site", ("on_machine", "repeats")))
        machines = work.machine_months.calls(period)
        calls = {serial: called for serial, (_, called, _) in machines.items() if called.count}
        days = acting.days_of({serial: since for serial, (since, *_) in machines.items()}, period)
        commissioned = commissioning.commissioned(service, work, calls)
        sites = work.care_list.by_site(care.moments(service, work.fleet.zones(), "overdue"))
    rising, tested = acting.rising(calls, days, period)
    months = [month.found for month in care.kept_by_month(service)]
    kept = _in_months(sum(one.kept for one in months), sum(one.reports_kept for one in months))
    overdue = _in_months(sum(one.overdue for one in months), sum(one.reports_overdue for one in months))
    rates = acting.by_commissioning(commissioned, days)
    others = [rates["complete"], rates["missing"]]
    return ToAct(
        period,
        found,
        share,
        acting.often_down(calls, days),
        acting.often_down(*acting.by_site(machines, days)),
        rising,
        tested,
        sites,
        kept,
        overdue,
        acting.compared(overdue, kept),
        rates,
        acting.compared(
            rates["failed"],
            Rate.of(*(sum(getattr(one, name) for one in others) for name in ("machines", "calls", "years"))),
        ),
        tuple(
            sorted(
                (one for one in commissioned if one.state != "complete"),
                key=lambda one: (-one.failed, -one.calls, -one.missing, one.machine),
            )
        ),
        left,
        to_judge,
    )


def _in_months(machine_months: int, calls: int) -> Rate:
    return Rate.of(machine_months, calls, machine_months / 12)
