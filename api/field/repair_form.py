"""The lines of an estimate or a close-out as a form on a phone, and as the JSON that the service reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from api.pages.texts import gettext
from api.pages.typed import typed_amount, typed_number
from triage.records.bill import BilledLine
from triage.values.errors import Problem

MOST_PARTS = 12
ONCE = ("trip", "distance", "labor", "second_technician", "freight")
"""Kinds of lines that stand once on the form; parts are numbered."""
TIMED = ("labor", "second_technician")


def kind_words(kind: str) -> str:
    """What a line is for."""
    return {
        "trip": gettext("Trip"),
        "distance": gettext("Distance"),
        "labor": gettext("Labor"),
        "second_technician": gettext("Second technician"),
        "part": gettext("Part"),
        "freight": gettext("Freight"),
        "tax": gettext("Tax"),
    }.get(kind, kind)


def lines_of(form: Mapping[str, str], currency: str) -> list[dict[str, Any]]:
    """The lines that are filled in; one without an amount is priced by the agreement.

    What is no number stays as it was written, for the service to say what is wrong with it.
    """
    lines: list[dict[str, Any]] = []
    for kind in ONCE:
        hours = form.get(f"{kind}_hours", "").strip()
        if kind in TIMED and not hours:
            continue
        if kind not in TIMED and not form.get(kind):
            continue
        line: dict[str, Any] = {"kind": kind} | ({"hours": typed_number(hours)} if kind in TIMED else {})
        lines.append(line | _amount(form, kind, currency))
    for place in range(MOST_PARTS):
        part = form.get(f"part_{place}", "").strip()
        if not part:
            continue
        line = {"kind": "part", "number": part, **_amount(form, f"part_{place}", currency)}
        if quantity := form.get(f"quantity_{place}", "").strip():
            line["quantity"] = typed_number(quantity)
        if serials := form.get(f"serials_{place}", "").replace(",", " ").split():
            line |= {"serials": serials}
        lines.append(line)
    return lines


def filled(lines: Sequence[BilledLine]) -> dict[str, str]:
    """The fields of a form that says the lines of an estimate again, as they were agreed."""
    form: dict[str, str] = {}
    parts = 0
    for line in lines:
        if line.kind == "part":
            form |= {f"part_{parts}": line.number or "", f"quantity_{parts}": str(line.quantity or 1)}
            parts += 1
        elif line.kind in TIMED:
            form[f"{line.kind}_hours"] = "" if line.hours is None else f"{line.hours.normalize():f}"
        elif line.kind in ONCE:
            form[line.kind] = "1"
    return form


def parts_shown(form: Mapping[str, str], more: int = 0) -> int:
    """How many rows for parts the form has: those filled in, and one, or `more`, to fill in."""
    used = [place for place in range(MOST_PARTS) if form.get(f"part_{place}")]
    return min(MOST_PARTS, max([place + 1 for place in used], default=0) + max(1, more))


def placed(problems: Sequence[Problem], lines: Sequence[Mapping[str, Any]]) -> tuple[Problem, ...]:
    """Problems with the name of the line that each is about."""
    return tuple(_placed(problem, lines) for problem in problems)


def _placed(problem: Problem, lines: Sequence[Mapping[str, Any]]) -> Problem:
    steps = (problem.pointer or "").split("/")
    if steps[:2] != ["", "lines"] or len(steps) < 3 or not steps[2].isdigit():
        return problem
    line = lines[int(steps[2])] if int(steps[2]) < len(lines) else {}
    return Problem(f"{kind_words(str(line.get('kind')))}: {problem.message}", problem.pointer)


def _amount(form: Mapping[str, str], name: str, currency: str) -> dict[str, str]:
    text = form.get(f"{name}_amount", "").strip()
    return {"amount": typed_amount(text, currency)} if text else {}
