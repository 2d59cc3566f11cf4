"""What waits while it is not known whether a caution holds: all that is near, or the checks it names."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from tests import RULES
from triage.decide.causes.inference import compile_rulebook, infer
from triage.decide.dangers import Dangers, dangers_of
from triage.logic.conditions import FactValue
from triage.records.danger import CALM
from triage.records.report import Report
from triage.rulebook.model import Caution, Rulebook
from triage.rulebook.reading.reader import read_rulebook


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(RULES)


def waits(rulebook: Rulebook, report: Report, **changes: object) -> Dangers:
    """What waits for metal in the product, asked about with a noise, were its caution so changed."""
    metal = rulebook.cautions["metal-in-product"]
    bare = replace(metal, stop_use=False, forbids_all_checks=False, forbids=frozenset())
    caution: Caution = replace(bare, **changes)  # type: ignore[arg-type]
    alone = replace(rulebook, cautions={"metal-in-product": caution})
    facts: dict[str, FactValue] = {"symptom": frozenset(report.symptoms)}
    inference = infer(alone, compile_rulebook(alone, "plain"), facts)
    return dangers_of(alone, inference, {}, report, CALM, report.reported_at)


@pytest.fixture
def noisy() -> Report:
    return Report(("noisy",), datetime(2026, 6, 10, tzinfo=UTC))


@pytest.mark.parametrize("wide", [{"stop_use": True}, {"forbids_all_checks": True}])
def test_where_it_would_stop_use_or_forbid_all_everything_near_waits(
    rulebook: Rulebook, noisy: Report, wide: dict[str, object]
) -> None:
    found = waits(rulebook, noisy, **wide)
    near = {check.id for check in rulebook.checks.values() if check.near}
    assert found.waiting == near != rulebook.checks.keys()
    assert found.waits_for == ("metal_seen",)


@pytest.mark.parametrize("beside", [False, True])
def test_where_it_names_checks_only_those_wait(rulebook: Rulebook, noisy: Report, beside: bool) -> None:
    found = waits(rulebook, noisy, forbids=frozenset({"level-machine"}), only_with_checks=beside)
    assert found.waiting == {"level-machine"}
    assert (found.waits_for, found.checks_wait_for) == ((), ("metal_seen",))


def test_a_check_that_does_not_apply_is_waited_for_by_nobody(rulebook: Rulebook, noisy: Report) -> None:
    assert waits(rulebook, noisy, forbids=frozenset({"rinse-filter"})).checks_wait_for == ()


def test_one_that_forbids_nothing_keeps_nothing_back(rulebook: Rulebook, noisy: Report) -> None:
    found = waits(rulebook, noisy, first=("full-clean",))
    assert (found.waiting, found.waits_for, found.checks_wait_for) == (frozenset(), (), ())
