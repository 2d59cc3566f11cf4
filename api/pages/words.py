"""Numbers, times and causes in words, as the desk shows them."""

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from babel.dates import format_date, format_datetime
from babel.numbers import format_currency

from api.http.auth import ROLE_TITLES, service
from api.pages.texts import clerk, gettext, ngettext, page_language, tell
from triage.rulebook.model import Caution, Fact, Rulebook
from triage.values.money import Money

OUTCOMES = ("fix_in_store", "dispatch", "approve", "hold", "swap")


def decision_words(decision: Mapping[str, Any]) -> str:
    """A decision's outcome as a sentence's start, with who comes where it is not the machine's contractor."""
    by = (decision.get("visit") or {}).get("by", "")
    return outcome_words(decision.get("outcome"), bool(decision.get("solved")), by)


def outcome_words(outcome: str | None, solved: bool = False, by: str = "") -> str:
    """The outcome as a sentence's start; `by` is who comes where it is not the machine's contractor."""
    if solved:
        return gettext("Fixed in store")
    sent = {
        "electrician": gettext("Send the store's electrician"),
        "installer": gettext("Send the installer back"),
        "pest_control": gettext("Send the store's pest control"),
    }
    if outcome == "dispatch" and by in sent:
        return sent[by]
    return {
        "fix_in_store": gettext("Fix in store"),
        "dispatch": gettext("Send a technician"),
        "approve": gettext("Repair approved"),
        "hold": gettext("On hold: approval needed"),
        "swap": gettext("Swap the machine"),
    }.get(outcome or "", gettext("Not decided"))


def outcome_mark(outcome: str | None, solved: bool = False) -> str:
    """The name of an outcome's color and icon; empty where nothing is decided."""
    marks = {"fix_in_store": "fix", "dispatch": "send", "approve": "approve", "hold": "hold", "swap": "swap"}
    return "fix" if solved else marks.get(outcome or "", "")


def event_words(kind: str) -> str:
    """What happened, for the history and for what changed meanwhile."""
    return {
        "reported": gettext("reported"),
        "answered": gettext("answered"),
        "check_done": gettext("check done"),
        "decided": gettext("decided"),
        "estimated": gettext("estimate given"),
        "approved": gettext("authority decided"),
        "dispatched": gettext("sent to the contractor"),
        "withdrawn": gettext("estimate and authorization withdrawn"),
        "visited": gettext("visit"),
        "swap_reserved": gettext("unit set aside for the swap"),
        "swapped": gettext("machine swapped"),
        "closed": gettext("closed"),
        "reopened": gettext("reopened"),
        "skipped": gettext("not known"),
        "noted": gettext("note"),
        "detailed": gettext("told later"),
        "undone": gettext("undone"),
        "acknowledged": gettext("caution read out"),
        "danger_lifted": gettext("danger lifted"),
        "parked": gettext("parked"),
        "spoken": gettext("the clerk's language"),
        "forgotten": gettext("the caller's words erased"),
    }.get(kind, kind.replace("_", " "))


def role_words(role: str) -> str:
    """What somebody who is signed in may do, in a word."""
    return tell(ROLE_TITLES.get(role, role))


def result_words(result: str) -> str:
    """What came of a check."""
    return {
        "cured": gettext("Fixed"),
        "not_cured": gettext("Not fixed"),
        "could_not_do": gettext("Could not do"),
    }.get(result, result)


def fact_words(rulebook: Rulebook, fact_id: str, value: Any) -> str:
    """A fact's value as people read it, with its unit."""
    fact = rulebook.facts.get(fact_id)
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    if isinstance(value, list):
        return ", ".join(_choice(fact, str(member)) for member in value)
    shown = _choice(fact, str(value))
    return f"{shown} {unit_words(fact)}".strip() if fact is not None and fact.type == "number" else shown


def unit_words(fact: Fact | None) -> str:
    """The unit as people write it; empty without one."""
    unit = "" if fact is None or fact.unit is None else fact.unit
    return {
        "d": gettext("days"),
        "h": gettext("hours"),
        "min": gettext("minutes"),
        "inch": gettext("inches"),
        "degF": "°F",
        "degC": "°C",
        "percent": "%",
        "delta_degF": "°F",
        "liter": gettext("liters"),
        "ampere": gettext("amps"),
        "volt": gettext("volts"),
        "foot": gettext("feet"),
        "degree": "°",
    }.get(unit, unit)


def symptom_words(ids: Iterable[str], language: str | None = None) -> str:
    """The titles of symptoms in a row, in that language or the pages'; one that is no more stays as it is."""
    return ", ".join(title_words(service().rulebook.symptoms, id_, language) for id_ in ids)


class Titled(Protocol):
    """A fact, a cause, a check."""

    @property
    def title(self) -> str: ...


class Named(Titled, Protocol):
    @property
    def id(self) -> str: ...


def title_words(known: Mapping[str, Titled | Caution], id_: str, language: str | None = None) -> str:
    """The title in that language or the pages'; an id that the rulebook knows no more stays."""
    if id_ not in known:
        return id_
    one = known[id_]
    return clerk(one.head.title if isinstance(one, Caution) else one.title, language or page_language())


def titled(known: Iterable[Named]) -> list[tuple[str, str]]:
    """What may be chosen, as id and title, by title."""
    return sorted(((one.id, tell(one.title)) for one in known), key=lambda each: each[1])


def says_little(factor: Mapping[str, Any]) -> bool:
    """Whether an observation speaks neither for nor against a cause, by more than 5 %."""
    return 0.95 <= float(factor["factor"]) <= 1.05


def factor_words(factor: Mapping[str, Any]) -> str:
    """How much one observation that does not say little speaks for or against a cause."""
    weight = float(factor["factor"])
    if not weight:
        return gettext("rules it out")
    strength = weight if weight > 1 else 1 / weight
    times = f"{strength:.1f}" if strength < 10 else f"{strength:.0f}"
    if weight > 1:
        return gettext("makes it %(times)s times likelier", times=times)
    return gettext("makes it %(times)s times less likely", times=times)


def local_time(at: datetime | str, timezone: str, language: str | None = None) -> str:
    """A moment in the store's own time: "Tue 3 Mar, 9:00 AM"; UTC is named where no site is known."""
    moment = datetime.fromisoformat(at) if isinstance(at, str) else at
    local = moment.astimezone(UTC if timezone == "UTC" else ZoneInfo(timezone))
    written = format_datetime(
        local, "EEE d MMM, h:mm a", tzinfo=local.tzinfo, locale=language or page_language()
    )
    return f"{written} UTC" if timezone == "UTC" else written


def clock_words(at: datetime | str, timezone: str, now: datetime) -> str:
    """A moment as short as it can be said on the store's clock: "Today 3:10 PM", "Thu 6:00 PM"."""
    zone = UTC if timezone == "UTC" else ZoneInfo(timezone)
    local = (datetime.fromisoformat(at) if isinstance(at, str) else at).astimezone(zone)
    days = (local.date() - now.astimezone(zone).date()).days
    time = format_datetime(local, "h:mm a", tzinfo=local.tzinfo, locale=page_language())
    if days == 0:
        return gettext("Today %(time)s", time=time)
    day = "EEE" if 0 < days < 7 else "EEE MMM d,"
    return f"{format_datetime(local, day, tzinfo=local.tzinfo, locale=page_language())} {time}"


def day_words(day: date) -> str:
    """A day as it is read: "Thu 19 Nov"."""
    return format_date(day, "EEE d MMM", locale=page_language())


def date_words(day: date | str) -> str:
    """A day with its year: "19 Nov 2026"."""
    day = date.fromisoformat(day) if isinstance(day, str) else day
    return format_date(day, "d MMM y", locale=page_language())


def time_words(at: datetime) -> str:
    """The time of a moment on its own clock: "8:00 AM"."""
    return format_datetime(at, "h:mm a", tzinfo=at.tzinfo, locale=page_language())


def money_words(amount: Decimal | str, currency: str) -> str:
    """An amount in whole units, as it is glanced at: "$450"."""
    return format_currency(Decimal(amount), currency, "¤#,##0", locale="en_US", currency_digits=False)


def cents_words(amount: Money) -> str:
    """An amount to the cent: "$1,250.05"."""
    return str(format_currency(amount.amount, amount.currency.code, locale="en_US"))


def dollars_words(amount: Decimal, currency: str) -> str:
    """An amount as short as it is exact: "$450", "$79.95"."""
    exact = cents_words(Money(amount, currency))
    return exact.removesuffix(".00")


def ago(at: datetime, now: datetime) -> str:
    """How long ago, in whole minutes, hours or days."""
    minutes = max(0, int((now - at).total_seconds() // 60))
    if minutes < 60:
        return ngettext("%(num)s minute ago", "%(num)s minutes ago", minutes)
    if minutes < 48 * 60:
        return ngettext("%(num)s hour ago", "%(num)s hours ago", minutes // 60)
    return ngettext("%(num)s day ago", "%(num)s days ago", minutes // 1440)


def _choice(fact: Fact | None, value: str) -> str:
    return value if fact is None else tell(fact.choices.get(value, value))


def short(version: str) -> str:
    """A version as people compare it: its first twelve digits."""
    return version.removeprefix("sha256:")[:12]


IN_TEMPLATES = (
    *(decision_words, outcome_words, outcome_mark, unit_words, symptom_words, money_words),
    *(local_time, clock_words, date_words, ago, short, title_words, role_words),
)
"""What every template can call by its name."""


def number_words() -> Mapping[str, str]:
    """Numbers of the program by their names."""
    return {
        "opened": gettext("Reports"),
        "closed": gettext("Closed"),
        "reopened": gettext("Reopened"),
        "cured_in_store": gettext("Fixed in the store"),
        "first_visit_fix": gettext("Fixed at the first visit"),
        "hours_to_close": gettext("Hours until it pours, median"),
        "spend_closed": gettext("Spent"),
        "spend_approved": gettext("Spend approved"),
        "outside_agreement": gettext("Outside the rate agreement"),
        "asked": gettext("Were the questions worth asking?"),
        "over_limit": gettext("Above the limit"),
        "visits_sent": gettext("Visits sent"),
        "repeats": gettext("Repeat trouble"),
        "no_fault_found": gettext("No fault found"),
        "first_ranked": gettext("Ranked first and confirmed"),
        "scored": gettext("Log loss and Brier score"),
        "swaps": gettext("Machines swapped"),
    }
