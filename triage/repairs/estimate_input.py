"""Reads what a technician writes down: the lines of an estimate or of a close-out, with pointers.

A line: {"kind", "amount", "hours", "technicians", "number", "quantity", "serials", "component", "note"}.
Without an amount it is priced by the rate agreement. Amounts are texts such as "95.00 USD", hours numbers.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import partial
from typing import Any, Protocol, get_args

from moneyed import Money

from triage.decide.spending.costs import LineKind
from triage.inputs.reader import InputReader
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import ServiceHours
from triage.schedule.service_hours import is_after_hours
from triage.values.shown import hint

LINE_KINDS: tuple[LineKind, ...] = get_args(LineKind)
ESTIMATE_KEYS = ("cause", "after_hours", "work_from", "lines", "note")
MOST_LINES, MOST_HOURS, MOST_PIECES, MOST_HELPERS, MOST_TEXT = 60, 40, 50, 3, 2000

_KEYS: Mapping[LineKind, tuple[str, ...]] = {
    "trip": (),
    "distance": (),
    "labor": ("hours",),
    "second_technician": ("hours", "technicians"),
    "part": ("number", "quantity", "serials"),
    "freight": (),
    "tax": (),
}
_ONE_EACH: frozenset[LineKind] = frozenset({"distance", "labor", "second_technician", "freight", "tax"})


@dataclass(frozen=True, slots=True)
class AskedLine:
    """One line as asked for. `amount` None: by the agreement; `component` None: that of the cause."""

    kind: LineKind
    amount: Money | None = None
    hours: Decimal = Decimal(0)
    technicians: int = 1
    number: str = ""
    quantity: int = 1
    serials: tuple[str, ...] = ()
    component: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class WorkTime:
    """When the work is done, as the technician says: all of it after hours or none, or from when on."""

    after_hours: bool | None = None
    work_from: datetime | None = None

    def late(self, hours: ServiceHours, timezone: str) -> bool | None:
        """Whether it begins after hours; None where nothing is said."""
        return self.after_hours if self.work_from is None else is_after_hours(self.work_from, hours, timezone)


@dataclass(frozen=True, slots=True)
class AskedEstimate:
    """`cause` None: the likeliest one counts."""

    lines: tuple[AskedLine, ...]
    cause: str | None = None
    time: WorkTime = WorkTime()
    note: str = ""


class Written(Protocol):
    """What somebody writes down of a repair: an estimate, or a closing."""

    @property
    def note(self) -> str: ...
    @property
    def lines(self) -> tuple[AskedLine, ...]: ...


def texts_of(written: Written) -> tuple[str, ...]:
    """Everything in it that is said in words."""
    return (written.note, *(line.note for line in written.lines))


def read_estimate(data: object, rulebook: Rulebook) -> AskedEstimate:
    """An estimate from JSON data. Raises InputError listing every problem."""
    read = InputReader(rulebook)
    top = read.mapping(data, "", ESTIMATE_KEYS, "an estimate")
    estimate = AskedEstimate(
        lines=read_lines(read, top.get("lines"), "/lines"),
        cause=read_cause(read, top.get("cause"), "/cause"),
        time=read_work_time(read, top),
        note=read.text(top.get("note"), "/note", MOST_TEXT),
    )
    if not estimate.lines and not read.problems:
        read.problem("an estimate has at least one line", "/lines")
    read.finish()
    return estimate


def read_work_time(read: InputReader, top: Mapping[str, Any]) -> WorkTime:
    """`after_hours` or `work_from`, of an estimate or of a closing."""
    after_hours = read.flag(top.get("after_hours"), "/after_hours")
    work_from = None if top.get("work_from") is None else read.moment(top["work_from"], "/work_from")
    if after_hours is not None and work_from is not None:
        read.problem("whether it is after hours follows from work_from; leave this out", "/after_hours")
    return WorkTime(after_hours, work_from)


def read_lines(read: InputReader, raw: object, pointer: str) -> tuple[AskedLine, ...]:
    if isinstance(raw, list | tuple) and len(raw) > MOST_LINES:
        read.problem(f"there are {len(raw)} lines; at most {MOST_LINES} are read", pointer)
        return ()
    lines = read.each(raw, pointer, partial(_line, read))
    seen: set[LineKind] = set()
    for index, line in enumerate(lines):
        if line.kind in _ONE_EACH and line.kind in seen:
            read.problem(f"there is one line of {line.kind}; put the two into one", f"{pointer}/{index}/kind")
        seen.add(line.kind)
    return tuple(lines)


def read_cause(read: InputReader, raw: object, pointer: str) -> str | None:
    """A cause of the rulebook; None where it was left out."""
    known = [name for name, cause in read.rulebook.causes.items() if cause.status == "live"]
    if raw is None or (isinstance(raw, str) and raw in known):
        return raw
    fix = hint(str(raw)[:60], known, f"; causes are {', '.join(known)}"[:600])
    read.problem(f'"{str(raw)[:60]}" is no cause of the rulebook{fix}', pointer)
    return None


def read_number(
    read: InputReader, raw: object, pointer: str, what: str, most: int, least: int = 0, above: bool = False
) -> Decimal:
    """A number from `least` (or above it) to `most`; 0 where it had to report a problem."""
    number = None if isinstance(raw, bool) or not isinstance(raw, int | Decimal) else Decimal(raw)
    if number is None:
        read.problem(f"{what} are a number such as 1.5", pointer)
    elif not number.is_finite() or number > most or number < least or (above and number == least):
        low = f"above {least}" if above else f"at least {least}"
        read.problem(f"{what} are {low} and at most {most}; {str(number)[:20]} cannot be meant", pointer)
    else:
        return number
    return Decimal(0)


def _line(read: InputReader, raw: object, pointer: str) -> AskedLine | None:
    kind = raw.get("kind") if isinstance(raw, Mapping) else None
    if not isinstance(raw, Mapping) or kind not in LINE_KINDS:
        fix = hint(str(kind)[:60], LINE_KINDS, f"; kinds are {', '.join(LINE_KINDS)}")
        read.problem(f'a line is an object with a `kind`; "{str(kind)[:60]}" is none{fix}', f"{pointer}/kind")
        return None
    item = read.mapping(
        raw, pointer, ("kind", "amount", *_KEYS[kind], "component", "note"), f"a line of {kind}"
    )
    amount = None if item.get("amount") is None else read.money(item["amount"], f"{pointer}/amount")
    hours = Decimal(0)
    if "hours" in _KEYS[kind]:
        hours = read_number(read, item.get("hours"), f"{pointer}/hours", "hours", MOST_HOURS, above=True)
    helpers = _count(read, item.get("technicians", 1), f"{pointer}/technicians", MOST_HELPERS)
    quantity = _count(read, item.get("quantity", 1), f"{pointer}/quantity", MOST_PIECES)
    number = _part(read, item.get("number"), f"{pointer}/number") if kind == "part" else ""
    serials = read.each(item.get("serials"), f"{pointer}/serials", read.name)
    if len(serials) > quantity:
        read.problem(f"{len(serials)} serials for {quantity} of the part", f"{pointer}/serials")
    component = _component(read, item.get("component"), f"{pointer}/component")
    note = read.text(item.get("note"), f"{pointer}/note", MOST_TEXT)
    return AskedLine(kind, amount, hours, helpers, number, quantity, tuple(serials), component, note)


def _count(read: InputReader, raw: Any, pointer: str, most: int) -> int:
    number = read_number(read, raw, pointer, "pieces", most, least=1)
    if number != number.to_integral_value():
        read.problem("this is a whole number", pointer)
    return max(1, int(number))


def _part(read: InputReader, raw: object, pointer: str) -> str:
    if isinstance(raw, str) and raw in read.rulebook.parts:
        return raw
    fix = hint(str(raw)[:60], read.rulebook.parts, "; the rulebook's parts.yml lists the parts")
    read.problem(f'there is no part "{str(raw)[:60]}"{fix}', pointer)
    return ""


def _component(read: InputReader, raw: object, pointer: str) -> str | None:
    known = sorted({cause.component for cause in read.rulebook.causes.values()})
    if raw is None or (isinstance(raw, str) and raw in known):
        return raw
    fix = hint(str(raw)[:60], known, f"; components are {', '.join(known)}"[:600])
    read.problem(f'"{str(raw)[:60]}" is no component of the rulebook{fix}', pointer)
    return None
