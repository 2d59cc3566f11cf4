"""Spoiled product is a state of the machine: no answer ends it, every ticket knows it, cleaning ends it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.triage.rulebook_care.safety.default_files import default_files, default_rulebook
from tests.triage.services import AGENT, FOGLINE, OPS, running_service
from triage.records.caller import Caller
from triage.records.ticket import Ticket
from triage.service import calls, machines, repairs, tickets
from triage.service.dangers import lift_danger
from triage.service.service import Service
from triage.values.errors import ConflictError, ForbiddenError, NotFoundError

WELL = {"allergy_reported": False}
SPOILED: dict[str, tuple[dict[str, Any], dict[str, Any], str]] = {
    "product-left-warm": ({"product_warm_hours": 30}, {"product_warm_hours": 1}, "full-clean"),
    "mold-seen": ({"mold_seen": True}, {"mold_seen": False}, "full-clean"),
    "sour-product": ({"taste": "sour"}, {"taste": "weak"}, "full-clean"),
    "chemical-taste": ({"taste": "chemical"}, {"taste": "weak"}, "rinse-again"),
    "allergen-left-over": ({"taste": "other_flavor", **WELL}, {"taste": "weak"}, "full-clean"),
    "specks-in-product": ({"color_look": "specks"}, {"color_look": "pale"}, "full-clean"),
}
"""Caution -> what raises it, what a later answer says instead, and the check that ends it."""
STOPPING: dict[str, dict[str, Any]] = {
    "someone-ill": {"someone_ill": True},
    "allergic-reaction": {"allergy_reported": True},
    "foreign-body": {"foreign_body": True},
    "metal-in-product": {"metal_seen": True},
    "cleaners-mixed": {"cleaners_mixed": True},
    "pests-seen": {"pests_seen": True},
    "flood-or-boil-water": {"flood_or_boil_water": True},
    "cracked-barrel": {"leak_where": "barrel_crack"},
}
WHY = "Mei cleaned and sanitized both sides."
CLOSING = {"cause": "no_fault_found", "cured_by": "nothing", "note": WHY}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, files=default_files()) as running:
        yield running


def report(**answers: object) -> dict[str, Any]:
    return {"machine": "LH20-1", "symptoms": ["freezes_slowly"], "answers": answers}


def standing(service: Service, ticket: Ticket) -> dict[str, str | None]:
    found = tickets.ticket(service, ticket.id, OPS)
    return {danger.caution: danger.ticket for danger in found.dangers.standing}


def first_step(ticket: Ticket) -> str | None:
    assert ticket.decision is not None
    plan = ticket.decision["plan"]
    return plan[0]["check"] if plan else None


def test_every_caution_of_the_default_rulebook_that_puts_a_check_first_is_tried_here() -> None:
    cautions = default_rulebook().cautions.values()
    assert {caution.head.id for caution in cautions if caution.first} == SPOILED.keys()
    assert all(default_rulebook().cautions[id_].bars for id_ in STOPPING)


@pytest.mark.parametrize("caution", SPOILED)
def test_spoiled_product_stands_on_the_machine_until_it_is_cleaned(service: Service, caution: str) -> None:
    raises, denies, cleans = SPOILED[caution]
    one = tickets.open_ticket(service, report(**raises), AGENT)
    assert caution in standing(service, one)
    one = tickets.answer(service, one.id, denies, AGENT)
    assert standing(service, one) == {caution: None}
    two = tickets.open_ticket(service, report(), AGENT)
    assert standing(service, two) == {caution: one.id}
    assert first_step(one) == first_step(two) == cleans
    assert two.decision is not None
    assert caution in {each["rule"] for each in two.decision["cautions"]}
    assert machines.open_dangers(service, ["LH20-1"])["LH20-1"][0].caution == caution

    undone = tickets.record_check(service, two.id, cleans, "could_not_do", AGENT)
    assert standing(service, undone) == {caution: one.id}
    assert undone.decision is not None
    assert undone.decision["plan"] == []

    tickets.record_check(service, two.id, cleans, "not_cured", AGENT)
    assert standing(service, one) == standing(service, two) == {}
    lifted = [event for event in tickets.events(service, one.id, OPS) if event.kind == "danger_lifted"]
    assert [(event.who, event.payload.caution) for event in lifted] == [("desk", caution)]  # type: ignore[union-attr]
    with pytest.raises(NotFoundError, match="no answer to take back"):
        calls.undo(service, two.id, AGENT, None)

    again = tickets.answer(service, two.id, raises, AGENT)
    assert standing(service, again) == {caution: None}
    assert first_step(again) == cleans


@pytest.mark.parametrize("caution", STOPPING)
def test_dangers_of_food_stop_every_ticket_of_the_machine(service: Service, caution: str) -> None:
    one = tickets.open_ticket(service, report(**STOPPING[caution]), AGENT)
    two = tickets.open_ticket(service, report(), AGENT)
    assert standing(service, two) == {caution: one.id}
    assert two.decision is not None
    assert two.outcome != "fix_in_store"
    assert not {step["check"] for step in two.decision["plan"]} & {"full-clean", "rinse-filter"}
    with pytest.raises(ForbiddenError):
        lift_danger(service, one.id, caution, WHY, AGENT, how="safe")


def test_a_cure_ends_nothing_before_the_product_is_gone(service: Service) -> None:
    one = tickets.open_ticket(service, report(product_warm_hours=30), AGENT)
    two = tickets.open_ticket(service, report(), AGENT)
    for ticket in (one, two):
        cured = tickets.record_check(service, ticket.id, "rinse-filter", "cured", AGENT)
        assert cured.decision is not None
        assert not cured.decision["solved"]
    cleaned = tickets.record_check(service, one.id, "full-clean", "not_cured", AGENT)
    assert cleaned.decision is not None
    assert cleaned.decision["solved"]


def test_a_report_with_the_cleaning_done_raises_nothing_until_more_is_said(
    service: Service,
) -> None:
    done = [{"check": "full-clean", "result": "not_cured"}]
    one = tickets.open_ticket(service, {**report(mold_seen=True), "checks": done}, AGENT)
    assert standing(service, one) == {}
    again = tickets.answer(service, one.id, {"mold_seen": True}, AGENT)
    assert standing(service, again) == {"mold-seen": None}
    assert first_step(again) == "full-clean"


@pytest.mark.parametrize("who", [AGENT, FOGLINE, OPS])
def test_who_cleaned_is_said_by_anyone_on_the_case(service: Service, who: Caller) -> None:
    one = tickets.open_ticket(service, report(mold_seen=True), AGENT)
    two = tickets.open_ticket(service, report(), AGENT)
    with pytest.raises(ConflictError, match="record the cleaning"):
        repairs.close(service, two.id, CLOSING, who)
    closed = repairs.close(service, two.id, {**CLOSING, "made_safe": ["mold-seen"]}, who)
    assert closed.state == "closed"
    assert standing(service, one) == {}


def test_mold_that_was_only_dried_syrup_is_taken_back(service: Service) -> None:
    one = tickets.open_ticket(service, report(mold_seen=True), AGENT)
    lift_danger(service, one.id, "mold-seen", "It was dried syrup.", AGENT)
    assert standing(service, one) == {}
