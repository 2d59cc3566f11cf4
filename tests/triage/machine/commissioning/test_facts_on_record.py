"""What a machine's model, its last commissioning and its care say before anybody is asked."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from tests import RULES
from tests.triage.machine.commissioning.test_judging import GOOD, checklist
from triage.decide.facts import gather_facts
from triage.machine.commissioning.checklist import Checklist, read_checklist
from triage.machine.commissioning.recorded import facts_on_record, judged, last_checklist, standard_for
from triage.machine.measures.measure import calculated
from triage.machine.measures.upkeep import overdue_facts
from triage.records.report import CareEvent, CareKind, History, Machine, Report, Site
from triage.rulebook.model import CareIntervals, Rulebook
from triage.rulebook.reading.reader import read_rulebook

NOW = datetime(2026, 3, 2, 16, tzinfo=UTC)
SITE = Site("halt-1", "Lanternway Alder Quay", "Alder", "America/New_York")
MACHINE = Machine("LH-1", "LH-20", date(2025, 1, 10), date(2025, 2, 3), SITE)


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(RULES)


def event(days_ago: int, kind: CareKind = "commissioned", **details: object) -> CareEvent:
    return CareEvent(kind, NOW - timedelta(days=days_ago), "installer", details)


def gathered(
    rulebook: Rulebook, *care: CareEvent, machine: Machine = MACHINE, **answers: object
) -> dict[str, tuple[object, str]]:
    report = Report(("not_freezing",), NOW, "LH-1", answers)  # type: ignore[arg-type]
    known = gather_facts(rulebook, report, machine, History(care=care), NOW)
    return {fact: (each.value, each.source) for fact, each in known.items()}


def test_a_checklist_in_the_care_log_becomes_facts_of_the_record(rulebook: Rulebook) -> None:
    facts = gathered(rulebook, event(90, **GOOD))
    assert facts["dedicated_circuit"] == (True, "record")
    assert facts["circuit_amps"] == (Decimal(20), "record")
    assert facts["clearance_left_in"] == (Decimal(3), "record")
    assert facts["night_mode_hours"] == (Decimal("5.5"), "record")
    assert facts["commissioning_missing"] == (Decimal(0), "record")
    assert facts["commissioning_failed"] == (Decimal(0), "record")


def test_what_is_missing_is_counted_and_nothing_is_made_up_for_it(rulebook: Rulebook) -> None:
    facts = gathered(rulebook, event(90, **checklist(circuit=None, shipping_bolt_removed=None)))
    assert facts["commissioning_missing"] == (Decimal(5), "record")
    assert {"dedicated_circuit", "extension_cord", "circuit_amps", "bolt_removed"}.isdisjoint(facts)
    unlogged = gathered(rulebook)
    assert {"commissioning_missing", "commissioning_failed"}.isdisjoint(unlogged)


@pytest.mark.parametrize("details", [{}, {"note": "all fine"}, {"circuit": {"volts": "120"}}])
def test_a_commissioning_without_a_readable_checklist_misses_every_point(
    rulebook: Rulebook, details: dict[str, object]
) -> None:
    facts = gathered(rulebook, event(90, **details))
    assert facts["commissioning_missing"] == (Decimal(14), "record")
    assert facts["commissioning_failed"] == (Decimal(0), "record")


def test_the_last_commissioning_counts_and_one_to_come_does_not() -> None:
    first, second, later = event(90, trained=["lead"]), event(10, trained=[]), event(-5, trained=["all"])
    for care in ((first, second, later), (later, second, first)):
        assert last_checklist(care, NOW) == read_checklist({"trained": []})
    assert last_checklist((event(3, "fully_cleaned", trained=["lead"]),), NOW) is None


def test_the_checklist_goes_before_the_record_and_the_record_before_the_model(rulebook: Rulebook) -> None:
    recorded = replace(MACHINE, facts={"clearance_behind_in": Decimal(9), "cooling_watts": Decimal(700)})
    before = gathered(rulebook, machine=recorded)
    assert before["clearance_behind_in"] == (Decimal(9), "record")
    assert before["cooling_watts"] == (Decimal(700), "record")
    assert before["cooling_rated_at_c"] == (Decimal(25), "record")
    after = gathered(rulebook, event(9, clearance={"behind_in": 4}), machine=recorded)
    assert after["clearance_behind_in"] == (Decimal(4), "record")
    said = gathered(rulebook, event(9, extension_cord=False), machine=recorded, extension_cord=True)
    assert said["extension_cord"] == (True, "caller")


def test_a_model_the_rulebook_does_not_know_adds_nothing(rulebook: Rulebook) -> None:
    assert "cooling_watts" in gathered(rulebook)
    assert "cooling_watts" not in gathered(rulebook, machine=replace(MACHINE, model="LH-99"))


def test_the_space_a_model_needs_is_what_its_checklist_is_judged_by(rulebook: Rulebook) -> None:
    narrow = read_checklist({"clearance": {"behind_in": 5, "left_in": 2, "right_in": 2}})
    for model, result in (("LH-20", "passed"), ("LH-30", "failed"), ("LH-99", "failed")):
        found = {one.id: one for one in judged(rulebook, replace(MACHINE, model=model), narrow)}
        assert found["clearance_sides"].result == result
        assert found["clearance_behind"].result == "failed"
    assert standard_for(rulebook, "LH-99").side_in == 3


def test_the_sites_own_zone_is_what_the_clock_is_judged_by(rulebook: Rulebook) -> None:
    wrong = read_checklist({"clock": {"right": True, "timezone": "America/Chicago"}})
    found = {one.id: one for one in judged(rulebook, MACHINE, wrong)}
    assert found["clock"].result == "failed"
    assert "America/New_York" in found["clock"].why


def test_a_number_outside_its_facts_range_is_no_fact(rulebook: Rulebook) -> None:
    facts = facts_on_record(rulebook, MACHINE, (event(9, circuit={"amps": 400}),), NOW)
    assert "circuit_amps" not in facts
    assert facts["commissioning_failed"] == Decimal(1)


def test_days_overdue_follow_whoever_says_when_it_was_cleaned(rulebook: Rulebook) -> None:
    rinsed = event(40, "filter_cleaned")
    assert gathered(rulebook, rinsed)["filter_overdue_days"] == (Decimal(25), "computed")
    assert gathered(rulebook, rinsed, filter_days=Decimal(3))["filter_overdue_days"][0] == Decimal(0)
    assert gathered(rulebook, filter_days=Decimal(16))["filter_overdue_days"][0] == Decimal(1)
    assert "filter_overdue_days" not in gathered(rulebook)
    shorter = replace(rulebook, care=CareIntervals(10, 20))
    assert gathered(shorter, rinsed)["filter_overdue_days"][0] == Decimal(30)
    assert overdue_facts({"full_clean_days": Decimal(31)}) == {"full_clean_overdue_days": Decimal(1)}


def test_a_models_numbers_are_enough_to_say_when_a_refill_can_be_served(rulebook: Rulebook) -> None:
    report = Report(
        ("not_freezing",),
        NOW,
        "LH-1",
        {
            "label_brix": Decimal(13),
            "refill_volume_l": Decimal(8),
            "refill_temp_c": Decimal(25),
            "room_temp_f": Decimal(77),
            "minutes_since_refill": Decimal(30),
        },
    )
    known, notes = calculated(rulebook, gather_facts(rulebook, report, MACHINE, History(), NOW))
    assert notes == ()
    low, expected, high = (known[f"servable_after_min{end}"].value for end in ("_low", "", "_high"))
    assert 30 < low < expected < high  # type: ignore[operator]
    assert known["too_early"].value is True
    unknown = gather_facts(rulebook, report, replace(MACHINE, model="LH-99"), History(), NOW)
    assert "too_early" not in calculated(rulebook, unknown)[0]


def test_an_empty_checklist_is_what_no_details_mean() -> None:
    assert last_checklist((event(1),), NOW) == Checklist()
