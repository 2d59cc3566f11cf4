"""Findings as SARIF, so that code-review tools show them beside the changed lines.

Static Analysis Results Interchange Format (SARIF) 2.1.0, OASIS Standard, 2020: one run, its rules with their
default level (3.49, 3.50), its results with physical locations (3.27 to 3.30) and in-source suppressions
(3.35). Section numbers from memory; the parts of the standard's own JSON schema (errata 01) that speak of
these objects were read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from urllib.parse import quote

from triage.rulebook_care.lint.findings import CODES, Finding
from triage.values.errors import Problem

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
READING = "cannot-be-read"
BASE = "RULEBOOK"

_RULES: tuple[tuple[str, str, str], ...] = (
    (READING, "error", "The rulebook cannot be read."),
    *((code, about.severity, about.means) for code, about in CODES.items()),
)
_INDEX = {code: index for index, (code, _, _) in enumerate(_RULES)}


def sarif(found: Sequence[Finding], problems: Sequence[Problem] = ()) -> Mapping[str, object]:
    """The log. `problems` are those of a rulebook that could not be read. Paths are relative to it."""
    results = [*map(_of_problem, problems), *map(_of_finding, found)]
    if any("suppressions" in result for result in results):
        for result in results:  # 3.27.23: none of a run's results has them, or each has, if need be none
            result.setdefault("suppressions", [])
    rules = [
        {
            "id": code,
            "shortDescription": {"text": means},
            "defaultConfiguration": {"level": severity},
        }
        for code, severity, means in _RULES
    ]
    return {
        "$schema": SCHEMA,
        "version": "2.1.0",
        "runs": [
            {
                "tool": {"driver": {"name": "barrelwise rulebook check", "rules": rules}},
                "columnKind": "unicodeCodePoints",
                "results": results,
            }
        ],
    }


def _of_finding(each: Finding) -> dict[str, object]:
    text = f"{each.message}. {each.fix}."
    result = _result(each.code, each.severity, text, each.file, each.line, each.column)
    if each.silenced is not None:
        result["suppressions"] = [{"kind": "inSource", "justification": each.silenced}]
    return result


def _of_problem(problem: Problem) -> dict[str, object]:
    return _result(READING, "error", problem.message, problem.file, problem.line, problem.column)


def _result(
    code: str, level: str, text: str, file: str | None, line: int | None, column: int | None
) -> dict[str, object]:
    result: dict[str, object] = {
        "ruleId": code,
        "ruleIndex": _INDEX[code],
        "level": level,
        "message": {"text": text},
    }
    if file is not None:
        place: dict[str, object] = {"artifactLocation": {"uri": quote(file), "uriBaseId": BASE}}
        if line is not None:
            place["region"] = {"startLine": line} | ({"startColumn": column} if column is not None else {})
        result["locations"] = [{"physicalLocation": place}]
    return result
