from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from tests.triage.builders import minimal_rulebook
from triage.decide.spending.warranty import (
    cover_known,
    covered_by_component,
    terms_by_component,
    terms_for,
    warranty_for,
    warranty_notes,
)
from triage.logic.conditions import Compare, FactTest
from triage.records.report import Machine
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import WarrantyPeriod, WarrantyRisk, WarrantyTerms

RULEBOOK = minimal_rulebook()
MACHINE = Machine("LH-1", "LH-20", date(2024, 1, 10), date(2024, 2, 29))


def with_terms(*terms: WarrantyTerms) -> Rulebook:
    return replace(RULEBOOK, warranty={each.id: each for each in terms})


def terms(id_: str, parts: int, labor: int, models: tuple[str, ...] = (), **more: object) -> WarrantyTerms:
    given: dict[str, object] = {
        "id": id_,
        "title": id_,
        "models": frozenset(models),
        "starts": "commissioned",
        "cap_months_from_ship": None,
        "periods": {"default": WarrantyPeriod(parts, labor)},
        "risks": (),
        "claim_needs": (),
        "source": "common practice, no source",
        **more,
    }
    return WarrantyTerms(**given)  # type: ignore[arg-type]


def test_parts_and_labor_have_their_own_months_by_component() -> None:
    answer = warranty_for(RULEBOOK, MACHINE, "compressor", date(2026, 3, 1), {})

    assert (answer.parts.covered, answer.parts.until) == (True, date(2027, 2, 28))
    assert (answer.labor.covered, answer.labor.until) == (False, date(2026, 2, 28))
    assert answer.terms == "standard"


@pytest.mark.parametrize(
    ("on", "covered"),
    [("2024-02-28", False), ("2024-02-29", True), ("2025-02-28", True), ("2025-03-01", False)],
)
def test_the_first_and_the_last_day_are_in_warranty_and_their_neighbors_are_not(
    on: str, covered: bool
) -> None:
    answer = warranty_for(RULEBOOK, MACHINE, "cooling", date.fromisoformat(on), {})

    assert answer.parts.until == date(2025, 2, 28)  # 29 February plus 12 months
    assert answer.parts.covered is covered


def test_a_cap_from_the_ship_date_ends_warranty_earlier_but_never_later() -> None:
    stored_long = replace(MACHINE, commissioned_on=date(2026, 1, 5))
    capped = warranty_for(RULEBOOK, stored_long, "compressor", date(2026, 2, 1), {})
    uncapped = warranty_for(RULEBOOK, MACHINE, "cooling", date(2024, 6, 1), {})

    assert capped.parts.until == date(2027, 7, 10)  # 42 months after the ship date
    assert uncapped.parts.until == date(2025, 2, 28)


def test_terms_may_start_when_the_machine_is_shipped() -> None:
    rulebook = with_terms(terms("from-ship", 12, 6, starts="shipped"))

    answer = warranty_for(rulebook, MACHINE, "cooling", date(2025, 1, 10), {})

    assert (answer.parts.covered, answer.parts.until) == (True, date(2025, 1, 10))


def test_zero_months_are_no_warranty_not_even_for_a_day() -> None:
    rulebook = with_terms(terms("none", 0, 12))

    answer = warranty_for(rulebook, MACHINE, "cooling", MACHINE.commissioned_on or date.min, {})

    assert (answer.parts.covered, answer.parts.until) == (False, None)
    assert answer.labor.covered
    without_date = replace(MACHINE, commissioned_on=None)
    assert not warranty_for(rulebook, without_date, "cooling", MACHINE.shipped_on, {}).parts.covered


@pytest.mark.parametrize("labor", [0, 12])
@pytest.mark.parametrize(("on", "known"), [("2025-01-10", True), ("2025-01-11", False)])
def test_what_no_months_are_promised_for_is_known_and_the_last_day_counts(
    labor: int, on: str, known: bool
) -> None:
    machine = replace(MACHINE, commissioned_on=None)

    assert cover_known(with_terms(terms("a", 12, labor)), machine, "cooling", date.fromisoformat(on)) is known
    assert cover_known(with_terms(terms("b", labor, 12)), machine, "cooling", date.fromisoformat(on)) is known
    assert cover_known(with_terms(terms("none", 0, 0)), machine, "cooling", date.fromisoformat(on))


@pytest.mark.parametrize(("on", "known"), [("2026-07-10", False), ("2026-07-11", True)])
def test_on_the_last_day_of_the_cap_warranty_may_still_run(on: str, known: bool) -> None:
    rulebook = with_terms(terms("a", 12, 12, cap_months_from_ship=30))
    machine = replace(MACHINE, commissioned_on=None)

    assert cover_known(rulebook, machine, "cooling", date.fromisoformat(on)) is known


def test_without_a_commissioning_date_the_ship_date_counts_and_it_is_said() -> None:
    machine = replace(MACHINE, commissioned_on=None)

    answer = warranty_for(RULEBOOK, machine, "cooling", date(2024, 6, 1), {})
    (note,) = warranty_notes(RULEBOOK, machine, "cooling", date(2024, 6, 1))

    assert answer.parts.until == date(2025, 1, 10)
    assert "ship date 2024-01-10" in note
    assert warranty_notes(RULEBOOK, MACHINE, "cooling", date(2024, 6, 1)) == ()


@pytest.mark.parametrize(("on", "known"), [("2024-06-01", True), ("2025-06-01", False), ("2027-07-11", True)])
def test_without_a_commissioning_date_warranty_is_unknown_between_its_earliest_end_and_the_cap(
    on: str, known: bool
) -> None:
    machine = replace(MACHINE, commissioned_on=None)

    assert cover_known(RULEBOOK, machine, "cooling", date.fromisoformat(on)) is known
    assert cover_known(RULEBOOK, MACHINE, "cooling", date.fromisoformat(on))


def test_terms_that_name_the_model_go_before_general_ones() -> None:
    rulebook = with_terms(terms("all", 60, 60), terms("lh20", 6, 6, models=("LH-20",)))

    assert (terms_for(rulebook, MACHINE, "cooling", date(2024, 6, 1)) or terms("", 0, 0)).id == "lh20"
    assert (
        terms_for(rulebook, replace(MACHINE, model="X"), "cooling", date(2024, 6, 1)) or terms("", 0, 0)
    ).id == "all"


def test_of_equally_specific_terms_the_most_favorable_counts() -> None:
    rulebook = with_terms(terms("a", 12, 24), terms("b", 24, 6), terms("c", 24, 12))

    assert warranty_for(rulebook, MACHINE, "cooling", date(2024, 6, 1), {}).terms == "c"


def test_what_puts_warranty_at_risk_is_said_and_voids_nothing() -> None:
    risk = WarrantyRisk(FactTest("filter_days", Compare(">", Decimal(90))), "The filter was not cleaned.")
    rulebook = with_terms(terms("a", 24, 24, risks=(risk,), claim_needs=("the care card",)))
    day = date(2024, 6, 1)

    risky = warranty_for(rulebook, MACHINE, "cooling", day, {"filter_days": Decimal(91)})

    assert risky.at_risk == ("The filter was not cleaned.",)
    assert risky.parts.covered
    assert risky.claim_needs == ("the care card",)
    assert warranty_for(rulebook, MACHINE, "cooling", day, {}).at_risk == ()  # not known is not said


def test_nothing_is_in_warranty_without_a_machine_or_without_terms() -> None:
    day = date(2024, 6, 1)

    for rulebook, machine in ((RULEBOOK, None), (with_terms(), MACHINE)):
        answer = warranty_for(rulebook, machine, "cooling", day, {})
        assert (answer.terms, answer.parts.covered, answer.labor.covered) == (None, False, False)
        assert not cover_known(rulebook, machine, "cooling", day)
    assert "no warranty terms" in warranty_notes(with_terms(), MACHINE, "cooling", day)[0]


def test_warranty_of_many_components_agrees_with_the_answer_for_each() -> None:
    components = frozenset({"compressor", "cooling", "hopper"})
    terms = terms_by_component(RULEBOOK, MACHINE, components, date(2024, 6, 1))
    for day in (date(2024, 1, 1), date(2024, 6, 1), date(2026, 2, 28), date(2026, 3, 1), date(2028, 1, 1)):
        found = covered_by_component(MACHINE, terms, components, day)
        for component in components:
            answer = warranty_for(RULEBOOK, MACHINE, component, day, {})
            assert found[component] == (answer.parts.covered, answer.labor.covered)


def test_the_terms_are_chosen_for_the_component_that_is_asked_for() -> None:
    long, short = WarrantyPeriod(60, 60), WarrantyPeriod(6, 6)
    rulebook = with_terms(
        terms("a", 24, 24, starts="shipped", periods={"default": short, "compressor": long}),
        terms("b", 24, 24, periods={"default": long, "compressor": short}),
    )
    machine = replace(MACHINE, commissioned_on=None)
    day = date(2026, 6, 1)

    assert warranty_for(rulebook, machine, "compressor", day, {}).terms == "a"
    assert warranty_for(rulebook, machine, "cooling", day, {}).terms == "b"
    assert warranty_notes(rulebook, machine, "compressor", day) == ()
    (note,) = warranty_notes(rulebook, machine, "cooling", day)
    assert note.startswith("No commissioning date on record: warranty is counted from the ship date 2024")
    assert cover_known(rulebook, machine, "compressor", date(2030, 1, 1))
    assert not cover_known(rulebook, machine, "cooling", date(2030, 1, 1))
    assert warranty_for(rulebook, None, "cooling", day, {}).parts.component == "cooling"
