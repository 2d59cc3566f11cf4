"""What a check found and which cases failed, in words and as JSON, for the pages and the API alike."""

from typing import Any

from triage.rulebook_care.editing.check import CasesRun, Checked
from triage.values.errors import Problem

PLACE = ("file", "line", "column", "message")


def as_data(checked: Checked) -> dict[str, Any]:
    """`problems` are what this text breaks, `standing` what is broken elsewhere without it."""
    return {
        "ok": checked.ok,
        "problems": [_row(each) for each in (*checked.problems, *checked.elsewhere)],
        "findings": [
            _row(each) | {"severity": each.severity, "code": each.code, "fix": each.fix}
            for each in checked.findings
            if each.silenced is None
        ],
        "standing": [_row(each) for each in checked.standing],
    }


def cases_as_data(run: CasesRun) -> dict[str, Any]:
    return {
        "ok": not (run.problems or run.failures),
        "rule_cases": run.rule_cases,
        "whole_cases": run.whole_cases,
        "failures": [_row(each) | {"case": each.case} for each in run.failures],
        "problems": [_row(each) for each in run.problems],
    }


def _row(each: object) -> dict[str, Any]:
    return {name: getattr(each, name) for name in PLACE}


def reasons(checked: Checked) -> tuple[Problem, ...]:
    """Why a text may not be saved as finished."""
    wrong = (
        Problem(f"{each.message}. {each.fix}", file=each.file, line=each.line, column=each.column)
        for each in checked.findings
        if each.severity == "error" and each.silenced is None
    )
    return (*checked.problems, *checked.elsewhere, *wrong)
