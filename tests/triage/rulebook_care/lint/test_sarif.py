"""Findings as SARIF 2.1.0."""

from __future__ import annotations

import json
from dataclasses import replace

from triage.rulebook_care.lint.findings import CODES, READING, finding, sarif
from triage.values.errors import Problem


def one(**more):
    found = finding(
        "never-fires", "rule", "evidence/rule.yml", "no report makes it true", "Fix it", ("when",)
    )
    return replace(found, **more)


def run_of(log):
    (run,) = log["runs"]
    return run


def test_a_finding_is_a_result_with_its_place():
    (result,) = run_of(sarif([one(line=9, column=3)]))["results"]
    assert result["ruleId"] == "never-fires"
    assert result["level"] == "error"
    assert result["message"] == {"text": "no report makes it true. Fix it."}
    (place,) = result["locations"]
    assert place["physicalLocation"] == {
        "artifactLocation": {"uri": "evidence/rule.yml", "uriBaseId": "RULEBOOK"},
        "region": {"startLine": 9, "startColumn": 3},
    }
    assert "suppressions" not in result


def test_a_result_points_at_its_rule_in_the_tools_list():
    log = run_of(sarif([one(), finding("fact-unused", "x", "facts/x.yml", "unused", "Use it")]))
    rules = log["tool"]["driver"]["rules"]
    assert [rules[result["ruleIndex"]]["id"] for result in log["results"]] == ["never-fires", "fact-unused"]
    assert {rule["id"] for rule in rules} == {READING, *CODES}
    assert {rule["defaultConfiguration"]["level"] for rule in rules} <= {"error", "warning", "note"}


def test_a_silenced_finding_is_suppressed_in_the_source_with_its_reason():
    (result,) = run_of(sarif([one(silenced="It is on trial.")]))["results"]
    assert result["suppressions"] == [{"kind": "inSource", "justification": "It is on trial."}]


def test_without_a_line_there_is_no_region():
    (result,) = run_of(sarif([one()]))["results"]
    assert "region" not in result["locations"][0]["physicalLocation"]


def test_what_cannot_be_read_is_a_result_too():
    problem = Problem("a tab stands here", file="rates.yml", line=2, column=1)
    (result,) = run_of(sarif([], [problem]))["results"]
    assert (result["ruleId"], result["level"]) == (READING, "error")
    assert result["locations"][0]["physicalLocation"]["region"] == {"startLine": 2, "startColumn": 1}


def test_the_log_is_plain_json_of_version_2_1_0():
    log = json.loads(json.dumps(sarif([one()])))
    assert log["version"] == "2.1.0"
    assert log["$schema"].endswith("sarif-schema-2.1.0.json")


def test_where_one_result_is_suppressed_each_says_whether_it_is():
    """SARIF 2.1.0, 3.27.23: of a run's results either all have `suppressions` or none has."""
    silenced, open_ = run_of(sarif([one(silenced="It is on trial."), one()]))["results"]
    assert len(silenced["suppressions"]) == 1
    assert open_["suppressions"] == []
    assert all("suppressions" not in each for each in run_of(sarif([one(), one()]))["results"])


def test_a_files_name_is_written_as_an_address():
    """SARIF 2.1.0, 3.4.3: `uri` is a reference as RFC 3986 has it, section 2.1 for what is escaped."""
    (result,) = run_of(sarif([], [Problem("no", file="evidence/100% too warm é.yml", line=1)]))["results"]
    place = result["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "evidence/100%25%20too%20warm%20%C3%A9.yml"
