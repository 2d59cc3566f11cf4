"""The findings' SARIF has the properties, types and names that the standard gives its objects, and no others.

Source: Static Analysis Results Interchange Format (SARIF) 2.1.0, OASIS Standard with Errata 01, 2023,
    sections 3.4 to 3.50
Status: read (its JSON schema); from memory (section numbers, and what the schema leaves to the text: which
    results have `suppressions`, how a `uri` is escaped)
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests import RULES
from triage.cli import main as command_line
from triage.rulebook_care.lint.findings import CODES, Finding, finding, sarif
from triage.values.errors import Problem

LEVEL = {"enum": ["none", "note", "warning", "error"]}
TEXT = {"type": "string"}
REFERENCE = {**TEXT, "pattern": r"^([A-Za-z0-9_.~!$&'()*+,;=:@/?-]|%[0-9A-F]{2})*$"}  # RFC 3986
FROM_1 = {"type": "integer", "minimum": 1}


def closed(required: str, **properties: object) -> dict[str, object]:
    """An object with these properties and no others: a property the standard does not know is refused."""
    return {
        "type": "object",
        "properties": properties,
        "required": required.split(),
        "additionalProperties": False,
    }


def a(name: str) -> dict[str, object]:
    return {"$ref": f"#/$defs/{name}"}


def many(name: str, **more: object) -> dict[str, object]:
    return {"type": "array", "items": a(name), **more}


OBJECTS: Mapping[str, Mapping[str, object]] = {
    "3.4 artifactLocation": closed("", uri=REFERENCE, uriBaseId=TEXT),
    "3.11 message": closed("text", text=TEXT),
    "3.12 multiformatMessageString": closed("text", text=TEXT),
    "3.14 run": closed(
        "tool results",
        tool=a("3.18 tool"),
        columnKind={"enum": ["utf16CodeUnits", "unicodeCodePoints"]},
        results=many("3.27 result"),
    ),
    "3.18 tool": closed("driver", driver=a("3.19 toolComponent")),
    "3.19 toolComponent": closed("name", name=TEXT, rules=many("3.49 reportingDescriptor", uniqueItems=True)),
    "3.27 result": closed(
        "message ruleId",
        ruleId=TEXT,
        ruleIndex={"type": "integer", "minimum": 0},
        level=LEVEL,
        message=a("3.11 message"),
        locations=many("3.28 location"),
        suppressions=many("3.35 suppression", uniqueItems=True),
    ),
    "3.28 location": closed("", physicalLocation=a("3.29 physicalLocation")),
    "3.29 physicalLocation": closed(
        "artifactLocation", artifactLocation=a("3.4 artifactLocation"), region=a("3.30 region")
    ),
    "3.30 region": closed("startLine", startLine=FROM_1, startColumn=FROM_1),
    "3.35 suppression": closed("kind", kind={"enum": ["inSource", "external"]}, justification=TEXT),
    "3.49 reportingDescriptor": closed(
        "id",
        id=TEXT,
        shortDescription=a("3.12 multiformatMessageString"),
        defaultConfiguration=a("3.50 reportingConfiguration"),
    ),
    "3.50 reportingConfiguration": closed("", level=LEVEL),
}
LOG = {
    **closed(
        "version runs", **{"$schema": TEXT}, version={"const": "2.1.0"}, runs=many("3.14 run")
    ),  # 3.13 sarifLog
    "$defs": OBJECTS,
}
VALIDATOR = Draft202012Validator(LOG)


def wrong(log: object) -> list[str]:
    found = VALIDATOR.iter_errors(json.loads(json.dumps(log)))
    return [f"{each.json_path}: {each.message}" for each in found]


def every_finding() -> list[Finding]:
    """One of each code, with and without place and silence."""
    found = []
    for number, code in enumerate(CODES):
        one = finding(code, "rule", "evidence/rule.yml", "it is so", "Fix it", ("when",))
        place = {"line": number, "column": number} if number % 3 else {}
        found.append(replace(one, **place, silenced="On trial." if number % 2 else None))  # type: ignore[arg-type]
    return found


def test_every_kind_of_finding_is_written_as_the_standard_says() -> None:
    problems = [Problem("no file"), Problem("a tab", file="facts/100% é.yml", line=2, column=1)]
    assert wrong(sarif(every_finding(), problems)) == []
    assert wrong(sarif([])) == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda run: run.pop("tool"),
        lambda run: run["results"][1].pop("message"),
        lambda run: run["results"][1].update(level="fatal"),
        lambda run: run["results"][1].update(severity="error"),
        lambda run: run["results"][1]["locations"][0]["physicalLocation"]["region"].update(startLine=0),
        lambda run: run["results"][1]["locations"][0]["physicalLocation"]["artifactLocation"].update(
            uri="50%"
        ),
        lambda run: run["results"][1]["suppressions"][0].pop("kind"),
        lambda run: run["tool"]["driver"]["rules"][0].pop("id"),
    ],
)
def test_what_the_standard_forbids_would_be_seen(spoil: Any) -> None:
    log: Any = json.loads(json.dumps(sarif(every_finding())))
    spoil(log["runs"][0])
    assert wrong(log)


def test_the_default_rulebooks_findings_are_written_as_the_standard_says(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert command_line.run(["rulebook", "check", str(RULES), "--sarif"]) == 0
    assert wrong(json.loads(capsys.readouterr().out)) == []
