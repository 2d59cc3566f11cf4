"""Limit tables: overlaps, gaps, rows never reached, each with an example input."""

from __future__ import annotations

import pytest

from tests.triage.builders import NO_SOURCE, minimal_rulebook
from tests.triage.rulebook_care.lint.linted import findings
from triage.decide.spending.limits import limit_facts
from triage.rulebook.decision_tables import TableError, evaluate_table
from triage.rulebook.terms import LimitTable
from triage.rulebook_care.lint.lint import lint


def table(rows, hit_policy="UNIQUE", inputs=("contractor", "after_hours"), **more):
    listed = [{"when": when, "then": {"amount": amount}} for when, amount in rows]
    return {
        "limits/standing.yml": {
            "id": "standing", "title": "Standing limit", "kind": "nte", "hit_policy": hit_policy,
            "inputs": list(inputs), "outputs": ["amount"], "rows": listed, "source": NO_SOURCE, **more,
        }
    }  # fmt: skip


COMPLETE = [
    ({"contractor": "fogline", "after_hours": False}, 400),
    ({"contractor": "fogline", "after_hours": True}, 550),
    ({"contractor": 'not("fogline")'}, 300),
]


def test_a_complete_table_without_overlap_is_fine():
    assert findings(table(COMPLETE)) == {}


def test_a_missing_row_is_told_with_the_input_that_misses_it():
    (gap,) = findings(table(COMPLETE[:1] + COMPLETE[2:]))["limit-gap"]
    assert gap.severity == "error"
    assert "after_hours = true, contractor = fogline" in gap.message


def test_the_empty_contractor_of_a_machine_without_one_is_an_input():
    (gap,) = findings(
        table([({"contractor": '"fogline","tern"'}, 400), ({"contractor": 'not("fogline","tern","")'}, 1)])
    )["limit-gap"]
    assert "contractor empty" in gap.message


def test_an_input_that_may_not_be_known_is_a_gap_of_its_own():
    rows = [({"fill_level": "<= 50"}, 1), ({"fill_level": "> 50"}, 2)]
    found = findings(table(rows, inputs=("fill_level",)))
    (gap,) = found["limit-gap-unknown"]
    assert (gap.severity, "fill_level not known" in gap.message) == ("warning", True)
    assert "limit-gap" not in found
    assert findings(table([*rows, ({"fill_level": "-"}, 3)], "FIRST", inputs=("fill_level",))) == {}


def test_rows_that_hold_at_once_are_told_with_an_example():
    rows = [({"fill_level": "<= 50"}, 1), ({"fill_level": ">= 50"}, 2)]
    (overlap,) = findings(table(rows, inputs=("fill_level",)))["limit-overlap"]
    assert overlap.message == "rows 1 and 2 of standing both hold with fill_level = 50"
    assert overlap.path == ("rows", 1)


@pytest.mark.parametrize("policy", ["FIRST", "PRIORITY", "COLLECT"])
def test_rows_may_overlap_where_the_hit_policy_says_which_counts(policy):
    more = {"PRIORITY": {"output_order": [1, 2]}, "COLLECT": {"collect": "MIN"}}.get(policy, {})
    rows = [({"fill_level": "<= 50"}, 1), ({"fill_level": "-"}, 2)]
    assert findings(table(rows, policy, inputs=("fill_level",), **more)) == {}


def test_a_row_that_earlier_ones_take_whole_is_never_reached():
    rows = [({"fill_level": "<= 50"}, 1), ({}, 2), ({"fill_level": "> 80"}, 3)]
    (never,) = findings(table(rows, "FIRST", inputs=("fill_level",)))["row-never-reached"]
    assert never.path == ("rows", 2)


def test_a_row_out_of_range_can_never_hold():
    rows = [({"fill_level": "> 100"}, 1), ({"fill_level": "-"}, 2)]
    (never,) = findings(table(rows, inputs=("fill_level",)))["never-fires"]
    assert (never.rule, never.path) == ("standing", ("rows", 0))


def test_a_table_of_a_hundred_bands_is_judged():
    bands = [({"fill_level": f"[{low}..{low + 1})"}, low) for low in range(100)]
    found = findings(table([*bands, ({"fill_level": 100}, 100)], inputs=("fill_level",)))
    assert set(found) == {"limit-gap-unknown"}


def evaluated(limits: LimitTable, facts: dict[str, object]) -> object:
    try:
        return evaluate_table(limits, limit_facts(facts)).outputs["amount"]
    except TableError as error:
        return error


def test_what_is_called_a_gap_is_one_to_the_table_itself():
    rulebook = minimal_rulebook(table(COMPLETE[1:]))
    (gap,) = [each for each in lint(rulebook) if each.code == "limit-gap"]
    assert "after_hours = false, contractor = fogline" in gap.message
    limits = rulebook.limits["standing"]
    assert isinstance(evaluated(limits, {"contractor": "fogline", "after_hours": False}), TableError)
    assert evaluated(limits, {"after_hours": False}) == 300
