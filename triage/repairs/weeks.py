"""Six numbers of a week or a month, with what is usual for them.

Each number is one of `period_numbers`, for each period by itself. Weeks begin on Monday (UTC).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Literal, TypeAlias

from dateutil.relativedelta import relativedelta

from triage.repairs.period import Period, Recorded
from triage.repairs.period_numbers import period_numbers
from triage.repairs.statistics import TOO_FEW, usual_range, wilson
from triage.rulebook.model import Rulebook

BEFORE = 12  # periods that say what is usual

Kind: TypeAlias = Literal["count", "share", "hours", "money"]


@dataclass(frozen=True, slots=True)
class WeekNumber:
    """A number of the week, and of each week before it, oldest first; None where there was too little.

    `usual` is the range of the weeks before. `interval` is that of a share, `of` how many it is of.
    """

    name: str
    kind: Kind
    now: float | None
    before: tuple[float | None, ...]
    usual: tuple[float, float] | None
    of: int | None = None
    interval: tuple[float, float] | None = None

    @property
    def too_few(self) -> bool:
        return self.of is not None and self.of < TOO_FEW

    @property
    def unusual(self) -> bool:
        """Whether it lies outside what is usual; never said of too few."""
        if self.now is None or self.usual is None or self.too_few:
            return False
        return not self.usual[0] <= self.now <= self.usual[1]


SIX: tuple[tuple[str, Kind], ...] = (
    ("opened", "count"),
    ("cured_in_store", "share"),
    ("first_visit_fix", "share"),
    ("hours_to_close", "hours"),
    ("spend_closed", "money"),
    ("repeats", "share"),
)


def weeks_to(now: datetime, asked: date | None = None) -> tuple[Period, ...]:
    """The week of a day, or the last one that is over, and BEFORE weeks before it, oldest first."""
    day = asked or now.astimezone(UTC).date() - timedelta(days=7)
    monday = day - timedelta(days=day.weekday())
    begins = [monday - timedelta(weeks=back) for back in range(BEFORE, -1, -1)]
    return tuple(period_of(begin, begin + timedelta(days=6)) for begin in begins)


def months_to(month: date) -> tuple[Period, ...]:
    """The month of a day and BEFORE months before it, oldest first."""
    begins = [month.replace(day=1) - relativedelta(months=back) for back in range(BEFORE, -1, -1)]
    return tuple(period_of(begin, begin + relativedelta(months=1, days=-1)) for begin in begins)


def period_of(first: date, last: date) -> Period:
    since = datetime.combine(first, time(), UTC)
    return Period(first, last, since, datetime.combine(last, time(), UTC) + timedelta(days=1))


def whole(weeks: Sequence[Period]) -> Period:
    return period_of(weeks[0].first, weeks[-1].last)


def numbers_of(
    recorded: Recorded, rulebook: Rulebook, periods: Sequence[Period], now: datetime
) -> tuple[WeekNumber, ...]:
    """`recorded` is of all the periods; the last one is the one asked for."""
    each = [period_numbers(_within(recorded, period), rulebook, period, now) for period in periods]
    return tuple(_number(name, kind, each) for name, kind in SIX)


def _within(recorded: Recorded, week: Period) -> Recorded:
    return replace(
        recorded,
        opened=tuple(one for one in recorded.opened if week.holds(one.opened_at)),
        approvals=tuple(one for one in recorded.approvals if week.holds(one.at)),
    )


def _number(name: str, kind: Kind, weeks: Sequence[Mapping[str, Any]]) -> WeekNumber:
    values = [_value(week[name], kind) for week in weeks]
    known = [value for value in values[:-1] if value is not None]
    last = weeks[-1][name]
    of = int(last["of"]) if kind == "share" else int(weeks[-1]["closed"]) if kind == "hours" else None
    return WeekNumber(
        name=name,
        kind=kind,
        now=values[-1],
        before=tuple(values[:-1]),
        usual=usual_range(known),
        of=of,
        interval=wilson(last["count"], last["of"]) if kind == "share" else None,
    )


def _value(said: Any, kind: Kind) -> float | None:
    match kind:
        case "share":
            return None if said["share"] is None else float(said["share"])
        case "hours":
            return None if said["median"] is None else float(said["median"])
        case "money":
            return float(said.split()[0])
        case "count":
            return float(said)
