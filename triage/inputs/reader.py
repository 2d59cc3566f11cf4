"""Reading of JSON data, strictly: every problem is collected with its JSON pointer (RFC 6901)."""

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, TypeVar

from moneyed import Money

from triage.logic.conditions import Scalar
from triage.rulebook.built_in_facts import BUILTIN_FACTS
from triage.rulebook.fact_values import read_value
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError, Problem, escaped
from triage.values.money import parse_money
from triage.values.plain_data import exact_number
from triage.values.shown import hint
from triage.values.time_zones import day_of, moment_of, zone_named

MOST_NAME, MOST_ENTRIES = 200, 20_000
EMAIL = re.compile(r"(?=.{3,254}$)[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]+@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*")
HARMLESS = datetime(2000, 1, 1, tzinfo=UTC)
"""Stands in for a time that could not be read, until the problems are told."""

T = TypeVar("T")


class Reader:
    """Collects problems; every method gives a harmless value where it had to report one."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def problem(self, message: str, pointer: str) -> None:
        self.problems.append(Problem(message, pointer))

    def finish(self) -> None:
        if self.problems:
            raise InputError(self.problems)

    def try_(self, action: Callable[[], T]) -> T | None:
        try:
            return action()
        except InputError as error:
            self.problems.extend(error.problems)
            return None

    def mapping(self, raw: object, pointer: str, keys: Iterable[str], what: str) -> Mapping[str, Any]:
        if not isinstance(raw, Mapping):
            self.problem(f"{what} is an object with the keys {', '.join(keys)}", pointer)
            return {}
        known = tuple(keys)
        for key in raw:
            if key not in known:
                fix = hint(str(key), known, f"; known keys are {', '.join(known)}")
                self.problem(f'unknown key "{str(key)[:60]}"{fix}', f"{pointer}/{escaped(key)}")
        return raw

    def each(self, raw: object, pointer: str, read: Callable[[object, str], T | None]) -> list[T]:
        if raw is None:
            return []
        if not isinstance(raw, list | tuple):
            self.problem("this is a list", pointer)
            return []
        if len(raw) > MOST_ENTRIES:
            self.problem(f"the list has {len(raw):,} entries; at most {MOST_ENTRIES:,} are read", pointer)
            return []
        found = (read(item, f"{pointer}/{index}") for index, item in enumerate(raw))
        return [item for item in found if item is not None]

    def moment(self, raw: object, pointer: str) -> datetime:
        if raw is None:
            self.problem(
                'the time is missing; write it with its offset: "2026-03-02T10:00:00-05:00"', pointer
            )
            return HARMLESS
        try:
            return moment_of(raw if isinstance(raw, str) else "")
        except ValueError as error:
            self.problem(str(error), pointer)
            return HARMLESS

    def day(self, raw: object, pointer: str) -> date | None:
        if raw is None:
            return None
        if isinstance(raw, date) and not isinstance(raw, datetime):
            return raw
        try:
            return day_of(raw if isinstance(raw, str) else "")
        except ValueError as error:
            self.problem(str(error), pointer)
            return None

    def name(self, raw: object, pointer: str) -> str | None:
        if raw is None:
            return None
        if not isinstance(raw, str) or not raw.strip():
            self.problem("this is a text, or null when it is not known", pointer)
            return None
        return self.text(raw, pointer, MOST_NAME).strip() or None

    def text(self, raw: object, pointer: str, most: int) -> str:
        if raw is None:
            return ""
        if not isinstance(raw, str):
            self.problem("this is a text", pointer)
        elif len(raw) > most:
            self.problem(f"the text has {len(raw):,} characters; at most {most:,} are read", pointer)
        elif any(ord(sign) < 32 and sign not in "\r\n\t" for sign in raw):
            self.problem("the text holds control characters; take them out", pointer)
        else:
            return raw
        return ""

    def flag(self, raw: object, pointer: str) -> bool | None:
        if raw is None or isinstance(raw, bool):
            return raw
        self.problem("this is true or false, without quotes", pointer)
        return None

    def number(self, raw: object, pointer: str, least: int, most: int, above: bool = False) -> Decimal | None:
        """A JSON number from `least` (or above it) to `most`; a float at its shortest decimal form."""
        if isinstance(raw, bool) or not isinstance(raw, int | float | Decimal):
            self.problem("write a number such as 6 or 4.5, without quotes", pointer)
            return None
        try:
            number = exact_number(repr(raw) if isinstance(raw, float) else str(raw))
        except ValueError as error:
            self.problem(str(error), pointer)
            return None
        if not least <= number <= most or (above and number == least):
            low = f"more than {least}" if above else f"at least {least}"
            self.problem(f"the number must be {low} and at most {most}", pointer)
            return None
        return number

    def zone(self, raw: object, pointer: str) -> str | None:
        name = self.name(raw, pointer)
        zone = None if name is None else self.try_(lambda: zone_named(name, pointer))
        return None if zone is None else zone.key

    def email(self, raw: object, pointer: str) -> str:
        text = self.text(raw, pointer, MOST_NAME)
        if text and EMAIL.fullmatch(text) is None:
            self.problem("give an e-mail address, such as store@example.com", pointer)
        return text


class InputReader(Reader):
    """Reads what a rulebook knows as well."""

    def __init__(self, rulebook: Rulebook) -> None:
        super().__init__()
        self.rulebook = rulebook

    def facts(self, raw: object, pointer: str, *, computed: bool) -> Mapping[str, Scalar]:
        """Facts by id; `computed` says whether facts that rules and calculations make may be among them."""
        if raw is None:
            return {}
        if not isinstance(raw, Mapping):
            self.problem("these are facts: an object of fact id and value", pointer)
            return {}
        vocabulary = self.rulebook.facts
        values: dict[str, Scalar] = {}
        for id_, value in raw.items():
            here = f"{pointer}/{escaped(id_)}"
            fact = vocabulary.get(id_) if isinstance(id_, str) else None
            if id_ in BUILTIN_FACTS:
                self.problem(f'"{id_}" is worked out by the program; leave it out', here)
            elif fact is None:
                fix = hint(str(id_), vocabulary, "; `barrelwise rulebook table` lists the facts")
                self.problem(f'the rulebook has no fact "{str(id_)[:60]}"{fix}', here)
            elif fact.asked_of == "computed" and not computed:
                message = f'"{id_}" is worked out by the program from other answers; leave it out'
                self.problem(message, here)
            else:
                try:
                    values[fact.id] = read_value(fact, value, here)
                except InputError as error:
                    self.problems.extend(error.problems)
        return values

    def money(self, raw: object, pointer: str) -> Money | None:
        amount = self.try_(lambda: parse_money(raw, self.rulebook.currency, pointer))
        if amount is not None and amount.amount < 0:
            self.problem("an amount is not below zero", pointer)
            return None
        return amount
