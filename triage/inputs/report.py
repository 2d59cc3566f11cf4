"""Reads REPORT.json: strict, every problem at its JSON pointer. `machine_input` reads the machine file."""

import re
from collections.abc import Mapping
from datetime import datetime
from functools import partial
from typing import Literal

from triage.inputs.machine import read_machine
from triage.inputs.reader import InputReader
from triage.records.report import CheckResult, EstimateTotal, History, Machine, Report, local_date
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError, Problem
from triage.values.shown import hint
from triage.values.time_zones import lies_ahead

__all__ = ["check_dates", "check_history", "read_machine", "read_report"]

MOST_SYMPTOMS, MOST_NOTE = 20, 4000
TOLD = {"caller": 80, "phone": 40, "site": 64, "serial_said": 80}
"""What is kept of a call and decides nothing, and its most characters: who called and from where, the number
to call back on, the store, and the machine's number as it was read out where it is in no record."""

RESULTS: tuple[Literal["cured", "not_cured", "could_not_do"], ...] = ("cured", "not_cured", "could_not_do")
REPORT_KEYS = (
    "machine",
    "symptoms",
    "reported_at",
    "answers",
    "checks",
    "estimate",
    "note",
    "unknown",
    "follows",
    "visit_at",
    "after_hours",
    "language",
    *TOLD,
)
ESTIMATE_KEYS = ("total", "beyond_warranty", "outside_agreement")


def read_report(
    data: object, rulebook: Rulebook, *, now: datetime | None = None, machine: Machine | None = None
) -> Report:
    """A report from REPORT.json's data. With `now` or `machine` its dates are checked as in `check_dates`.

    Raises InputError listing every problem.
    """
    read = InputReader(rulebook)
    top = read.mapping(data, "", REPORT_KEYS, "the report")
    report = Report(
        symptoms=_symptoms(read, top.get("symptoms"), "/symptoms"),
        reported_at=read.moment(top.get("reported_at"), "/reported_at"),
        machine=read.name(top.get("machine"), "/machine"),
        answers=read.facts(top.get("answers"), "/answers", computed=False),
        checks=_checks(read, top.get("checks"), "/checks"),
        estimate=_estimate(read, top.get("estimate"), "/estimate"),
        note=read.text(top.get("note"), "/note", MOST_NOTE),
        visit_at=None if top.get("visit_at") is None else read.moment(top["visit_at"], "/visit_at"),
        after_hours=read.flag(top.get("after_hours"), "/after_hours"),
        unknown=_unknown(read, top.get("unknown"), "/unknown"),
        follows=read.name(top.get("follows"), "/follows"),
    )
    check_language(read, top.get("language"))
    for name, most in TOLD.items():
        read.text(top.get(name), f"/{name}", most)
    if now is not None and not any(problem.pointer == "/reported_at" for problem in read.problems):
        read.try_(lambda: check_dates(report, machine, now))
    read.finish()
    return report


def check_language(read: InputReader, raw: object) -> None:
    """Notes a problem unless it is None or a tag such as "es" (BCP 47): the decision does not hang on it."""
    if raw is not None and not (isinstance(raw, str) and re.fullmatch(r"[a-z]{2}", raw)):
        read.problem('the language that the clerk speaks is two small letters such as "es"', "/language")


def check_dates(report: Report, machine: Machine | None, now: datetime) -> None:
    """Raises InputError for a report from the future, or from before its machine was made."""
    problems = []
    ahead = lies_ahead(report.reported_at, now)
    if ahead is not None:
        problems.append(Problem(ahead, "/reported_at"))
    if machine is not None and local_date(machine, report.reported_at) < machine.shipped_on:
        message = (
            f"{report.reported_at.isoformat()} is before the machine was made "
            f"(shipped {machine.shipped_on.isoformat()}); fix the date or the serial"
        )
        problems.append(Problem(message, "/reported_at"))
    if problems:
        raise InputError(problems)


def check_history(machine: Machine, history: History) -> None:
    """Raises InputError for care and repairs that a machine file dates before its machine was shipped."""
    dated = [(f"/care/{index}/at", event.at) for index, event in enumerate(history.care)]
    dated += [(f"/repairs/{index}/at", repair.at) for index, repair in enumerate(history.repairs)]
    problems = [
        Problem(f"{at.date()} lies before the machine was shipped, {machine.shipped_on}; fix one", pointer)
        for pointer, at in dated
        if local_date(machine, at) < machine.shipped_on
    ]
    if problems:
        raise InputError(problems)


def _symptoms(read: InputReader, raw: object, pointer: str) -> tuple[str, ...]:
    known = read.rulebook.symptoms
    listing = f"; known symptoms are {', '.join(known)}"[:600]
    if not isinstance(raw, list | tuple) or not raw:
        read.problem(f"a report names at least one symptom, as a list{listing}", pointer)
        return ()
    if len(raw) > MOST_SYMPTOMS:
        read.problem(f"a report has at most {MOST_SYMPTOMS} symptoms", pointer)
        return ()
    found: list[str] = []
    for index, symptom in enumerate(raw):
        if not isinstance(symptom, str) or symptom not in known:
            fix = hint(symptom, known, listing) if isinstance(symptom, str) else listing
            shown = f'"{symptom[:60]}"' if isinstance(symptom, str) else "this"
            read.problem(f"{shown} is no symptom of the rulebook{fix}", f"{pointer}/{index}")
        elif symptom in found:
            read.problem(f'"{symptom}" stands twice', f"{pointer}/{index}")
        else:
            found.append(symptom)
    return tuple(found)


def _unknown(read: InputReader, raw: object, pointer: str) -> tuple[str, ...]:
    found = read.each(raw, pointer, partial(_fact, read))
    return tuple(dict.fromkeys(found))


def _fact(read: InputReader, raw: object, pointer: str) -> str | None:
    if isinstance(raw, str) and raw in read.rulebook.facts:
        return raw
    read.problem(
        f'"{str(raw)[:60]}" is no fact of the rulebook{hint(str(raw), read.rulebook.facts)}', pointer
    )
    return None


def _checks(read: InputReader, raw: object, pointer: str) -> tuple[CheckResult, ...]:
    found = read.each(raw, pointer, partial(_check, read))
    for index, result in enumerate(found):
        if any(earlier.check == result.check for earlier in found[:index]):
            read.problem(f'the check "{result.check}" stands twice; give its last result', pointer)
    return tuple(found)


def _check(read: InputReader, raw: object, pointer: str) -> CheckResult | None:
    item = read.mapping(raw, pointer, ("check", "result", "together"), "a check's result")
    if not isinstance(raw, Mapping):
        return None
    result = item.get("result")
    check = _check_id(read, item.get("check"), f"{pointer}/check")
    together = tuple(read.each(item.get("together"), f"{pointer}/together", partial(_check_id, read)))
    if check is None:
        return None
    for allowed in RESULTS:
        if result == allowed:
            return CheckResult(check, allowed, together)
    read.problem(f"the result is one of {', '.join(RESULTS)}", f"{pointer}/result")
    return None


def _check_id(read: InputReader, raw: object, pointer: str) -> str | None:
    known = read.rulebook.checks
    if isinstance(raw, str) and raw in known:
        return raw
    fix = hint(str(raw), known, f"; checks are {', '.join(known)}"[:600])
    read.problem(f'"{str(raw)[:60]}" is no check of the rulebook{fix}', pointer)
    return None


def _estimate(read: InputReader, raw: object, pointer: str) -> EstimateTotal | None:
    if raw is None:
        return None
    item = read.mapping(raw, pointer, ESTIMATE_KEYS, "an estimate")
    if not isinstance(raw, Mapping):
        return None
    total = read.money(item.get("total"), f"{pointer}/total")
    beyond = total
    if item.get("beyond_warranty") is not None:
        beyond = read.money(item["beyond_warranty"], f"{pointer}/beyond_warranty")
    outside = None
    if item.get("outside_agreement") is not None:
        outside = read.money(item["outside_agreement"], f"{pointer}/outside_agreement")
    if total is None or beyond is None:
        return None
    for key, words, part in (
        ("beyond_warranty", "lies beyond warranty", beyond),
        ("outside_agreement", "is outside the agreement", outside),
    ):
        if part is not None and part > total:
            read.problem(f"what {words} is more than the total; fix one", f"{pointer}/{key}")
    return EstimateTotal(total, beyond, outside)
