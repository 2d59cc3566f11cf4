"""The kit of a visit: what the contractor's van takes, for the causes of this report."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from tests.triage.builders import cause, minimal_files, minimal_rulebook
from triage.decide.visit import visit_kit
from triage.records.decision import CauseChance
from triage.rulebook.model import Rulebook
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
