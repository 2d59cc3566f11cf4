"""What a clerk says, as a fact's value: "two weeks ago", "half a gallon", "6 inches", "72 °F", "yes", "2".

Spanish is heard as well: "seis semanas", "no sé".

Words are turned into numbers and unit names; pint converts to the fact's unit. A month counts as 30 days, a
year as 365. What was heard is always shown back, so that a wrong reading is seen at once.
"""

import re
from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any

from triage.inputs.spoken_numbers import DONT_KNOW, in_digits, in_english
from triage.rulebook.fact_values import read_value, write_value
from triage.rulebook.model import Fact
from triage.values.errors import InputError, Problem
from triage.values.time_zones import day_of
from triage.values.units import is_unit, registry

_YES = frozenset({
    "yes", "y", "yeah", "yep", "yes sir", "yes ma'am", "that's right", "correct", "of course",
    "true", "1", "sí", "si", "s", "claro", "claro que sí", "sí señor", "sí señora", "pues sí",
    "sip", "así es", "correcto", "afirmativo", "por supuesto",
})  # fmt: skip
_NO = frozenset({
    "no", "n", "nope", "no sir", "no ma'am", "not at all", "of course not", "false", "2",
    "no señor", "no señora", "pues no", "nop", "para nada", "claro que no", "negativo",
    "la verdad no",
})  # fmt: skip
"""What is certain; "I think so" and "creo que no" are neither, and are refused."""
_DONT_KNOW = re.compile(
    r"\?+|dk|0?\s*(?:i\s+)?(?:don'?t|do not|doesn'?t|does not) know|no idea|not sure|unknown"
    rf"|{DONT_KNOW}"
)
_DAYS = {"day": 1, "days": 1, "d": 1, "week": 7, "weeks": 7, "wk": 7, "wks": 7}
_DAYS |= {"fortnight": 14, "month": 30, "months": 30, "year": 365, "years": 365, "yr": 365, "yrs": 365}
_MINUTES = {
    "minute": 1,
    "minutes": 1,
    "min": 1,
    "mins": 1,
    "hour": 60,
    "hours": 60,
    "hr": 60,
    "hrs": 60,
    "h": 60,
}
_MINUTES |= {name: days * 1440 for name, days in _DAYS.items()}
_IN_MINUTES = {"d": Decimal(1440), "h": Decimal(60), "min": Decimal(1)}
_MOST_MINUTES = 200 * 365 * 1440  # ago, so that it is a day of the calendar
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_NOW = {"just now": 0, "now": 0, "today": 0, "this morning": 0, "yesterday": 1440, "last night": 1440}
_NOW |= {
    "the day before yesterday": 2880,
    "last week": 7 * 1440,
    "last month": 30 * 1440,
    "last year": 365 * 1440,
}
_UNITS = {
    '"': "inch", "in": "inch", "inch": "inch", "inches": "inch", "”": "inch", "″": "inch",
    "'": "foot", "ft": "foot", "foot": "foot", "feet": "foot", "′": "foot", "’": "foot",
    "gal": "gallon", "gals": "gallon", "gallon": "gallon", "gallons": "gallon",
    "qt": "quart", "qts": "quart", "quart": "quart", "quarts": "quart", "pints": "pint", "cups": "cup",
    "liter": "liter", "liters": "liter", "litre": "liter", "litres": "liter", "l": "liter",
    "lb": "pound", "lbs": "pound", "pounds": "pound", "kilos": "kilogram", "kilo": "kilogram",
    "f": "degF", "°f": "degF", "fahrenheit": "degF", "degrees f": "degF", "degrees fahrenheit": "degF",
    "c": "degC", "°c": "degC", "celsius": "degC", "degrees c": "degC", "degrees celsius": "degC",
    "centigrade": "degC", "percent": "percent", "%": "percent", "amps": "ampere", "volts": "volt",
}  # fmt: skip
_COUNTED = frozenset({"times", "pouch", "pouches", "bag", "bags", "jug", "jugs"})
_NEVER = re.compile(r"(?:never|none|not once|zero)(?: times)?")
_MONTHS = (
    *("january", "february", "march", "april", "may", "june", "july"),
    *("august", "september", "october", "november", "december"),
)
_DAY_OF_MONTH = re.compile(
    r"(?:the )?(?P<day>\d{1,2})(?:st|nd|rd|th)?(?: of)? (?P<month>[a-z]{3,9})\.?"
    r"|(?P<first>[a-z]{3,9})\.? (?P<second>\d{1,2})(?:st|nd|rd|th)?",
    re.ASCII,
)
_BARE_DEGREES = frozenset({"degrees", "degree", "°", "deg"})
_PART = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*([^\d\s,][^\d,]*)?", re.ASCII)
_MOST = Decimal("1e15")
"""Beyond it nothing that is said can be meant; such a number is not worked with any further."""
_HEDGE = re.compile(r"^(?:about|around|roughly|maybe|some|nearly|almost|over|ca\.?|~|≈)\s*")


def is_dont_know(text: str) -> bool:
    """Whether the clerk's words say that they cannot tell."""
    return _DONT_KNOW.fullmatch(text.strip().rstrip(".!").casefold()) is not None


def read_spoken(fact: Fact, text: str, today: date) -> Any:
    """What was said, as an answer's JSON data; `today` is the site's own. InputError if it does not fit."""
    said = " ".join(text.split())[:200]
    reader = {"number": _number, "flag": _flag, "choice": _choice, "date": _date, "time": _time}.get(
        fact.type
    )
    other_digits = any(character.isdecimal() and not character.isascii() for character in said)
    heard = said.casefold() if fact.type in ("choice", "flag") else in_english(said.casefold())
    raw = said if reader is None or other_digits else reader(fact, heard, today)
    raw = said if raw == heard else raw  # not understood: refused in the words that were said
    value = write_value(read_value(fact, raw, f"/answers/{fact.id}"))
    return Decimal(str(value)) if fact.type == "number" else value


def _number(fact: Fact, said: str, today: date) -> Any:
    numbers = _HEDGE.sub("", in_digits(said))
    if fact.unit is None and _NEVER.fullmatch(numbers):
        return Decimal(0)
    if fact.unit in _IN_MINUTES:
        minutes = _minutes_ago(numbers, today)
        if minutes is not None:
            return _rounded(minutes / _IN_MINUTES[fact.unit])
    parts = _PART.findall(numbers)
    if not parts or _PART.sub("", numbers).strip(" ,and"):
        return said  # read_value says what is wanted
    of = parts[0][1].strip()
    if len(parts) == 1 and (not of or (fact.unit is None and of in _COUNTED)):
        return Decimal(parts[0][0])
    return _sum(fact, parts, said)


def _sum(fact: Fact, parts: list[tuple[str, str]], said: str) -> Any:
    """ "5 ft 6 in" and the like, in the fact's unit."""
    total = None
    for number, words in parts:
        name = re.sub(r"\s+(?:and|of|ago|or so)\b.*$", "", words.strip()).strip(" .")
        unit = fact.unit if name in _BARE_DEGREES else _UNITS.get(name, name)
        if fact.unit is None or not unit or not is_unit(unit):
            return said
        quantity = registry().Quantity(Decimal(number), unit)
        try:
            converted = Decimal(quantity.to(fact.unit).magnitude)
        except Exception as error:  # pint: another dimension
            message = f'{fact.id}: "{name}" does not measure {fact.title.lower()}; give it in {fact.unit}'
            raise InputError([Problem(message, f"/answers/{fact.id}")]) from error
        total = converted if total is None else total + converted
    return said if total is None else _rounded(total)


def _minutes_ago(numbers: str, today: date) -> Decimal | None:
    """Minutes of "2 weeks ago", "yesterday", "1 hour 20 minutes"; None when it says no time."""
    numbers = numbers.removeprefix("since ")
    text = re.sub(r"\s*\b(?:ago|before|earlier|back|or so)\b\s*", " ", numbers).strip()
    for said in (numbers, text):
        if said in _NOW:
            return Decimal(_NOW[said])
    day = _day(text, today)
    if day is not None:
        return Decimal((today - day).days * 1440)
    parts = _PART.findall(text)
    if not parts or _PART.sub("", text).strip(" ,"):
        return None
    total = Decimal(0)
    for number, words in parts:
        name = re.sub(r"\s*\band\b\s*$", "", words.strip()).strip(" .")
        if name not in _MINUTES:
            return None
        total += Decimal(number) * _MINUTES[name]
    return total


def _day(text: str, today: date) -> date | None:
    weekday = text.removeprefix("last ").removeprefix("on ")
    written = _DAY_OF_MONTH.fullmatch(weekday)
    if weekday in _WEEKDAYS:
        back = (today.weekday() - _WEEKDAYS.index(weekday)) % 7 or 7
        return today - timedelta(days=back)
    try:
        return day_of(text) if written is None else _day_of_month(written, today)
    except ValueError:
        return None


def _day_of_month(written: re.Match[str], today: date) -> date | None:
    """The last "November 3" or "3 Nov" that is not to come; ValueError where no month has that day."""
    name, number = written["month"] or written["first"], int(written["day"] or written["second"])
    month = next((at for at, each in enumerate(_MONTHS, start=1) if each.startswith(name)), None)
    if month is None:
        return None
    day = date(today.year, month, number)
    return day if day <= today else date(today.year - 1, month, number)


def _flag(_fact: Fact, said: str, _today: date) -> Any:
    return True if said in _YES else False if said in _NO else said


def _choice(fact: Fact, said: str, _today: date) -> str:
    ids = list(fact.choices)
    if said.isascii() and said.isdigit() and 1 <= int(said) <= len(ids) and said not in ids:
        return ids[int(said) - 1]
    titles = {title.casefold(): choice for choice, title in fact.choices.items()}
    return titles.get(said, said)


def _date(_fact: Fact, said: str, today: date) -> str:
    day = _day(said, today)
    if day is None:
        minutes = _minutes_ago(_HEDGE.sub("", in_digits(said)), today)
        if minutes is not None and 0 <= minutes < _MOST_MINUTES:
            day = today - timedelta(days=int(minutes // 1440))
    return said if day is None else day.isoformat()


def _time(_fact: Fact, said: str, _today: date) -> str:
    match = re.fullmatch(r"(\d{1,2})(?:[:.](\d{2}))?\s*([ap])?\.?m?\.?", said)
    if match is None or (match[2] is None and match[3] is None):
        return said
    hour, minute = int(match[1]), int(match[2] or 0)
    if match[3] is not None:
        hour = hour % 12 + (12 if match[3] == "p" else 0)
    return said if hour > 23 or minute > 59 else time(hour, minute).isoformat("minutes")


def _rounded(number: Decimal) -> Decimal:
    return number.quantize(Decimal("0.001")).normalize() if abs(number) < _MOST else number
