"""How many whole reports the default rulebook brings along, and what each says of the answer to expect."""

from __future__ import annotations

import pytest

from tests import RULES
from tests.rules.baseline import ordinary_reports
from triage.inputs.report import read_machine, read_report
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(RULES)


def test_at_least_sixty_whole_reports_expect_an_outcome_and_a_top_cause(rulebook: Rulebook) -> None:
    both = [case.id for case in rulebook.cases.values() if {"outcome", "top_cause"} <= set(case.expect)]
    assert len(both) >= 60


def test_every_whole_report_expects_an_outcome(rulebook: Rulebook) -> None:
    silent = {
        case.id for case in rulebook.cases.values() if {"outcome", "not_outcome"}.isdisjoint(case.expect)
    }
    assert silent == set()


def test_no_two_whole_reports_are_the_same(rulebook: Rulebook) -> None:
    seen = [(repr(case.report), repr(case.machine)) for case in rulebook.cases.values()]
    assert len(set(seen)) == len(seen)


def test_the_two_hundred_ordinary_reports_are_readable_and_differ(rulebook: Rulebook) -> None:
    reports = list(ordinary_reports())
    assert len(reports) == 200
    for report, machine in reports:
        assert read_report(report, rulebook).symptoms
        assert read_machine(machine, rulebook)[0].serial
    assert len({repr(pair) for pair in reports}) == 200
