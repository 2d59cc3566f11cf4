"""Care of a machine: when the air filter and the whole machine are due, and how well care was kept.

Days are calendar days in the site's own time zone: a filter rinsed late yesterday was rinsed one day ago, and
an interval of 15 days makes it due on the 15th day after. It is overdue from the day after that.

A full clean includes the filter. A machine is commissioned clean, so commissioning starts both intervals.
A full clean of one side (`side` in the event's details) is of that side alone: the machine is fully clean
since the day on which its last side was.
Where the log holds neither, the days are unknown and the fact is left out: what is missing is never read as
care that was kept, nor as care that was not.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from triage.records.report import CareEvent, CareKind
from triage.rulebook.model import CareIntervals, Task
from triage.values.errors import InputError
from triage.values.time_zones import aware, zone_named

COUNTS_AS: Mapping[Task, frozenset[CareKind]] = {
    "filter": frozenset({"filter_cleaned", "fully_cleaned", "commissioned"}),
    "full_clean": frozenset({"fully_cleaned", "commissioned"}),
}
"""Which events start a task's interval anew."""
SIDES: Mapping[Task, tuple[str, ...]] = {"filter": ("",), "full_clean": ("left", "right")}
"""What is done for itself; "" is the machine as a whole."""


def sides_done(task: Task, kind: str, details: Mapping[str, object]) -> tuple[str, ...]:
    """The sides of a task whose interval an event starts anew."""
    if kind not in COUNTS_AS[task]:
        return ()
    side = details.get("side")
    return tuple(one for one in SIDES[task] if side in (None, one))


@dataclass(frozen=True, slots=True)
class CareDue:
    """When a task is due. All but `task` and `interval_days` are None where the log says nothing of it."""

    task: Task
    interval_days: int
    last_on: date | None
    days_since: int | None
    due_on: date | None
    days_overdue: int | None  # 0 when not overdue


@dataclass(frozen=True, slots=True)
class Compliance:
    """How a task was kept over a period.

    `days` of the period are known (from the first care or commissioning on); on `days_kept` of them the task
    was not overdue. `times` counts the care within the period, `times_late` those done after their due day.
    """

    task: Task
    days: int
    days_kept: int
    times: int
    times_late: int
    longest_overdue_days: int

    @property
    def share_kept(self) -> Decimal | None:
        """0..1, or None where no day of the period is known."""
        return Decimal(self.days_kept) / Decimal(self.days) if self.days else None


def due(
    task: Task, care: Iterable[CareEvent], at: datetime, timezone: str, intervals: CareIntervals | None = None
) -> CareDue:
    """When `task` is due as seen at `at` (timezone-aware); later events are not looked at."""
    interval = (intervals or CareIntervals()).days(task)
    days = _care_days(task, care, at, timezone)
    if not days:
        return CareDue(task, interval, None, None, None, None)
    today = aware(at).astimezone(zone_named(timezone)).date()
    due_on = days[-1] + timedelta(days=interval)
    return CareDue(
        task=task,
        interval_days=interval,
        last_on=days[-1],
        days_since=(today - days[-1]).days,
        due_on=due_on,
        days_overdue=max(0, (today - due_on).days),
    )


def compliance(
    task: Task,
    care: Iterable[CareEvent],
    first: date,
    last: date,
    timezone: str,
    intervals: CareIntervals | None = None,
) -> Compliance:
    """How `task` was kept from `first` to `last`, both included, in calendar days of the site.

    A day on which overdue care was caught up counts as kept. InputError when `last` is before `first`.
    """
    if last < first:
        raise InputError(f"the period ends ({last}) before it starts ({first})")
    interval = (intervals or CareIntervals()).days(task)
    cared = [day for day in _care_days(task, care, None, timezone) if day <= last]
    known = kept = longest = late = 0
    for start, following in zip(cared, [*cared[1:], None], strict=False):
        due_on = start + timedelta(days=interval)
        until = last if following is None else following - timedelta(days=1)
        known += _overlap(start, until, first, last)
        kept += _overlap(start, min(until, due_on), first, last)
        overdue_until = min(until, last)
        if _overlap(due_on + timedelta(days=1), overdue_until, first, last):
            longest = max(longest, (overdue_until - due_on).days)
        if following is not None and following >= first and following > due_on:
            late += 1
    times = sum(first <= day for day in cared)
    return Compliance(task, known, kept, times, late, longest)


def facts(
    care: Iterable[CareEvent], at: datetime, timezone: str, intervals: CareIntervals | None = None
) -> dict[str, Decimal]:
    """The facts `filter_days`, `full_clean_days` (days since) and their `…_overdue_days`, as far as known."""
    log = tuple(care)
    found: dict[str, Decimal] = {}
    tasks: Sequence[tuple[Task, str]] = (("filter", "filter"), ("full_clean", "full_clean"))
    for task, name in tasks:
        answer = due(task, log, at, timezone, intervals)
        if answer.days_since is not None and answer.days_overdue is not None:
            found[f"{name}_days"] = Decimal(answer.days_since)
            found[f"{name}_overdue_days"] = Decimal(answer.days_overdue)
    return found


def overdue_facts(known: Mapping[str, Decimal], intervals: CareIntervals | None = None) -> dict[str, Decimal]:
    """`filter_overdue_days` and `full_clean_overdue_days`, as far as the days since are among `known`."""
    lengths = intervals or CareIntervals()
    tasks: Sequence[Task] = ("filter", "full_clean")
    return {
        f"{task}_overdue_days": max(Decimal(0), known[f"{task}_days"] - lengths.days(task))
        for task in tasks
        if f"{task}_days" in known
    }


def _care_days(task: Task, care: Iterable[CareEvent], at: datetime | None, timezone: str) -> list[date]:
    """The site's calendar days since which every side was cared for, oldest first, each once, up to `at`."""
    zone = zone_named(timezone)
    limit = None if at is None else aware(at)
    last: dict[str, date] = {}
    found = set()
    for event in sorted(care, key=lambda one: aware(one.at)):
        done = sides_done(task, event.kind, event.details)
        if done and (limit is None or aware(event.at) <= limit):
            last |= dict.fromkeys(done, aware(event.at).astimezone(zone).date())
            if len(last) == len(SIDES[task]):
                found.add(min(last.values()))
    return sorted(found)


def _overlap(start: date, end: date, first: date, last: date) -> int:
    """Days of start..end that lie in first..last, ends included."""
    return max(0, (min(end, last) - max(start, first)).days + 1)
