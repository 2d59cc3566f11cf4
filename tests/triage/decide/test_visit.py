"""The kit of a visit: what the contractor's van takes, for the causes of this report."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from tests.triage.builders import cause, minimal_files, minimal_rulebook
from tests.triage.small_rulebooks import rule_head
from triage.decide.outcome import CautionsThatHold
from triage.decide.visit import visit_for, visit_kit
from triage.records.decision import CauseChance
from triage.records.report import Report
from triage.rulebook.model import Caution, Harm, Rulebook, Skill
from triage.rulebook.reading.reader import rulebook_from_data
from triage.values.errors import RulebookError

CAUSES = [
    CauseChance("seal_wrong", "", 0.5, 0.5, ()),
    CauseChance("compressor_fault", "", 0.3, 0.3, ()),
    CauseChance("low_fill", "", 0.1, 0.1, ()),
    CauseChance("other", "", 0.1, 0.1, ()),
]


def rulebook_with(**agreement: object) -> Rulebook:
    rates = dict(minimal_files()["rates.yml"])  # type: ignore[call-overload]
    small = {"trip": 60, "labor_hour": 84, "second_technician_hour": 60, "van_kg": 10}
    return minimal_rulebook(
        rates={**rates, "default": {**rates["default"], **agreement}, "contractors": {"tern": small}}
    )


def test_an_agreement_without_limits_lets_everything_be_carried() -> None:
    kit = visit_kit(rulebook_with(), CAUSES, date(2026, 3, 1))
    assert kit.parts == {"SEAL-1": 1, "COMP-1": 1}
    assert kit.chance == pytest.approx(0.9)  # what is not in the rulebook is never counted as fixed


def test_the_van_of_the_contractor_that_comes_sets_the_limit() -> None:
    kit = visit_kit(rulebook_with(), CAUSES, date(2026, 3, 1), "tern")
    assert kit.parts == {"SEAL-1": 1}
    assert kit.chance == pytest.approx(0.6)


def test_a_contractor_without_an_agreement_has_the_default_van() -> None:
    assert visit_kit(rulebook_with(van_value=100), CAUSES, date(2026, 3, 1), "nobody").parts == {"SEAL-1": 1}


def test_nothing_is_carried_for_a_rare_cause_though_its_chance_counts_when_covered() -> None:
    rare = [CauseChance("compressor_fault", "", 0.009, 0.1, ()), CauseChance("low_fill", "", 0.2, 0.2, ())]
    assert visit_kit(rulebook_with(), rare, date(2026, 3, 1)).parts == {}
    assert visit_kit(rulebook_with(), rare, date(2026, 3, 1)).chance == pytest.approx(0.2)


def test_a_part_needed_twice_is_carried_twice() -> None:
    files = minimal_files({"causes/seal_wrong.yml": cause("seal_wrong", "hopper", parts={"SEAL-1": 2})})
    assert visit_kit(rulebook_from_data(files), CAUSES, date(2026, 3, 1)).parts == {"SEAL-1": 2, "COMP-1": 1}


@pytest.mark.parametrize(
    ("key", "value"), [("van_kg", -1), ("van_kg", "heavy"), ("van_value", -5), ("van_kilos", 40)]
)
def test_a_van_limit_that_cannot_be_meant_is_refused_with_its_place(key: str, value: object) -> None:
    with pytest.raises(RulebookError) as refused:
        rulebook_with(**{key: value})
    assert any(key in str(problem) or key in problem.where for problem in refused.value.problems)


def test_the_limits_are_read_as_exact_numbers() -> None:
    default = rulebook_with(van_kg=Decimal("12.5"), van_value=Decimal("600.00")).rates.default
    assert (default.van_kg, default.van_value) == (Decimal("12.5"), Decimal("600.00"))


def sent(*cautions: Caution, skill: Skill | None = None) -> str | None:
    files = minimal_files({"causes/low_fill.yml": cause("low_fill", "product", by="pest_control")})
    rulebook = rulebook_from_data(files)
    live = CautionsThatHold(cautions, frozenset(), frozenset(), bool(cautions), skill, None)
    likely = [CauseChance("low_fill", "", 0.9, 0.9, ())]
    report = Report(("leaking",), datetime(2026, 3, 2, 17, tzinfo=UTC))
    found = visit_for(rulebook, report, None, likely, live, "dispatch", 3)
    return None if found is None else found.by


def stops(harm: Harm) -> Caution:
    return Caution(rule_head("c"), "Stop.", stop_use=True, harm=harm)


def test_pest_control_comes_unless_more_than_food_is_in_danger() -> None:
    assert sent() == sent(stops("food")) == "pest_control"
    assert sent(stops("life")) == sent(skill="electrical") == "contractor"
