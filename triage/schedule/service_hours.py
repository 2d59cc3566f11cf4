"""Service time: when someone is due, and whether a moment lies outside the service hours.

Conventions, all in the site's own time zone:

- A day's hours are half open: at 08:00 service is on, at 17:00 it is over. A closing time at or before the
  opening time belongs to the next day ("18:00" to "02:00"); "00:00" to "24:00" is around the clock.
- A due time is the first moment by which the hours have passed. Nine hours from an 08:00 opening are due at
  17:00 the same day, not at the next opening (the same instant in service time; other calendars roll on).
- Hours are real hours. A day on which the clocks change has 23 or 25 of them; a time of day
  that occurs twice means the first, one that is skipped means as much later (02:30 means 03:30).
- On a public holiday, and on the day one is observed, no service day begins; one that began the day before
  runs to its end past midnight.
- `elapsed` response times run around the clock, holidays included.

When a store lets somebody in: one window a day on the site's own clock, or at any time.

A window whose end is not after its start reaches past midnight ("18:00" to "02:00").
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from functools import lru_cache
from zoneinfo import ZoneInfo

from triage.records.report import Site
from triage.rulebook.terms import ServiceHours
from triage.values.errors import InputError
from triage.values.time_zones import aware, zone_named

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LONGEST_CLOSURE_DAYS = 366
MOST_HOURS = Decimal(10_000)
_MICROSECONDS_PER_HOUR = 3_600_000_000


def due_at(reported_at: datetime, priority: int, hours: ServiceHours, timezone: str) -> datetime:
    """When someone is due for a report of this priority, in the site's time zone.

    InputError for a priority without a response time, an unknown zone, or a time without an offset.
    """
    response = hours.priorities.get(priority)
    if response is None:
        known = ", ".join(str(one) for one in sorted(hours.priorities))
        raise InputError(f"priority {priority} has no response time; those with one are {known}")
    if response.clock == "service":
        return add_service_hours(reported_at, response.hours, hours, timezone)
    zone = zone_named(timezone)
    return (aware(reported_at).astimezone(UTC) + _duration(response.hours)).astimezone(zone)


def add_service_hours(start: datetime, amount: Decimal, hours: ServiceHours, timezone: str) -> datetime:
    """The first moment by which `amount` (0 to 10 000) service hours have passed since `start`.

    Nothing added gives `start` back, in the site's zone, even outside the service hours. InputError when no
    service day begins within a year.
    """
    zone = zone_named(timezone)
    left = _duration(amount)
    moment = aware(start).astimezone(UTC)
    if not left:
        return moment.astimezone(zone)
    worked_until = moment
    for opens, closes in _service_times(moment, hours, zone):
        begins = max(opens, worked_until)
        if closes - begins >= left:
            return (begins + left).astimezone(zone)
        left -= max(closes - begins, timedelta(0))
        worked_until = max(closes, worked_until)
    raise InputError(
        f"the service hours leave no open day in {LONGEST_CLOSURE_DAYS} days; name one in `week`"
    )


def is_after_hours(at: datetime, hours: ServiceHours, timezone: str) -> bool:
    """Whether `at` lies outside the service hours: at night, on a closed day, or on a public holiday."""
    zone = zone_named(timezone)
    moment = aware(at).astimezone(UTC)
    today = moment.astimezone(zone).date()
    days = (today - timedelta(days=1), today)
    return not any(
        opens <= moment < closes for day in days for opens, closes in _service_day(day, hours, zone)
    )


def hours_outside(start: datetime, amount: Decimal, hours: ServiceHours, timezone: str) -> Decimal:
    """How many of the `amount` hours from `start` on lie outside the service hours."""
    worked_until = aware(start).astimezone(UTC)
    ends, inside = worked_until + _duration(amount), timedelta(0)
    for opens, closes in _service_times(worked_until, hours, zone_named(timezone)):
        if opens >= ends:
            break
        inside += max(min(closes, ends) - max(opens, worked_until), timedelta(0))
        worked_until = max(closes, worked_until)
    return amount - Decimal(inside // timedelta(microseconds=1)) / _MICROSECONDS_PER_HOUR


def service_times(start: datetime, hours: ServiceHours, timezone: str) -> Iterator[tuple[datetime, datetime]]:
    """Opening and closing moments (UTC) of the service days, from the one that may reach into `start` on."""
    return _service_times(aware(start).astimezone(UTC), hours, zone_named(timezone))


def daily_span(day: date, opens: str, closes: str, zone: ZoneInfo) -> tuple[tuple[datetime, datetime], ...]:
    """Opening and closing moment (UTC) of the hours that begin on `day`: one pair, or none.

    A closing time at or before the opening time belongs to the next day.
    """
    first, last = minutes_of_day(opens), minutes_of_day(closes)
    if last <= first:
        last += 24 * 60
    start, end = _moment(day, first, zone), _moment(day, last, zone)
    return ((start, end),) if start < end else ()  # a day lost to a clock change


def _service_times(
    moment: datetime, hours: ServiceHours, zone: ZoneInfo
) -> Iterator[tuple[datetime, datetime]]:
    """Service days from the one that may reach into `moment` on, in UTC; ends when none comes for a year."""
    day = moment.astimezone(zone).date() - timedelta(days=1)
    closed = 0
    while closed <= LONGEST_CLOSURE_DAYS:
        found = _service_day(day, hours, zone)
        closed = 0 if found else closed + 1
        yield from found
        try:
            day += timedelta(days=1)
        except OverflowError:
            return


def _service_day(day: date, hours: ServiceHours, zone: ZoneInfo) -> tuple[tuple[datetime, datetime], ...]:
    """Opening and closing moment (UTC) of the service day that begins on `day`: one pair, or none."""
    span = hours.week.get(WEEKDAYS[day.weekday()])
    if span is None or day in public_holidays(hours.holidays_country, hours.holidays_subdivision, day.year):
        return ()
    return daily_span(day, *span, zone)


@lru_cache(maxsize=256)
def public_holidays(country: str | None, subdivision: str | None, year: int) -> frozenset[date]:
    """The public holidays of a year, observed days included; none where no country is named.

    InputError for a country or subdivision that the `holidays` library does not know.
    """
    if country is None:
        return frozenset()
    try:
        # the neighbors too: New Year's Day may be observed in December of the year before
        import holidays  # slow to import, and no rulebook need name a country

        days = holidays.country_holidays(country, subdiv=subdivision, years=(year - 1, year, year + 1))
    except NotImplementedError as error:
        raise InputError(f"holidays_country and holidays_subdivision: {error}") from None
    return frozenset(day for day in days if day.year == year)


def minutes_of_day(text: str) -> int:
    """Minutes after midnight of "00:00" to "24:00"; InputError for anything else."""
    hour, _, minute = text.partition(":")
    if len(text) == 5 and hour.isascii() and hour.isdigit() and minute.isascii() and minute.isdigit():
        minutes = int(hour) * 60 + int(minute)
        if int(minute) < 60 and minutes <= 24 * 60:
            return minutes
    raise InputError(f'"{text}" is not a time of day; write "08:00", or "24:00" for the end of the day')


def _moment(day: date, minutes: int, zone: ZoneInfo) -> datetime:
    """The wall-clock time `minutes` (up to 48 h) after the midnight that begins `day`, in UTC."""
    days, rest = divmod(minutes, 24 * 60)
    wall = time(rest // 60, rest % 60)
    return datetime.combine(day + timedelta(days=days), wall, zone).astimezone(UTC)


def _duration(amount: Decimal) -> timedelta:
    if not amount.is_finite() or not 0 <= amount <= MOST_HOURS:
        raise InputError(f"{amount} hours cannot be waited; write 0 to {MOST_HOURS} hours")
    return timedelta(microseconds=round(amount * _MICROSECONDS_PER_HOUR))


_LONGEST_SEARCH_DAYS = 400


def access_windows(start: datetime, site: Site) -> Iterator[tuple[datetime, datetime]]:
    """Opening and closing moments (UTC) from the window that may reach into `start` on, for some 400 days.

    Nothing for a site that lets people in at any time.
    """
    if not site.access_from:
        return
    zone = zone_named(site.timezone)
    day = start.astimezone(zone).date() - timedelta(days=1)
    for _ in range(_LONGEST_SEARCH_DAYS):
        yield from daily_span(day, site.access_from, site.access_until, zone)
        day += timedelta(days=1)


def check_access(access_from: str, access_until: str) -> None:
    """Raises InputError unless both are times of day that differ, or neither is given."""
    if bool(access_from) != bool(access_until):
        raise InputError("access hours take both a first and a last time, or neither")
    if access_from and minutes_of_day(access_from) == minutes_of_day(access_until):
        raise InputError("access hours that begin and end alike say nothing; leave both out for any time")


def lets_in(site: Site, at: datetime) -> bool:
    """Whether the site lets somebody in at `at`."""
    if not site.access_from:
        return True
    for opens, closes in access_windows(at, site):
        if opens > at:
            return False
        if at <= closes:
            return True
    return False


def due_within_access(due: datetime, reported_at: datetime, site: Site | None) -> datetime:
    """`due`, or where the store is shut then, the last moment before it at which somebody is let in.

    Where there is none since the report, the next opening; nobody can be there sooner.
    """
    if site is None or not site.access_from or lets_in(site, due):
        return due
    last: datetime | None = None
    for opens, closes in access_windows(due - timedelta(days=1), site):
        if opens > due:
            return (last or opens).astimezone(due.tzinfo or UTC)
        if closes > reported_at:
            last = closes
    return due
