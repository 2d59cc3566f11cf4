"""The exchange of a machine as values: what fits, what moves, and which step may follow which."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import pairwise
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moneyed import Money

from tests.triage.services import ALDER, MACHINES
from triage.records.custody import (
    DISPOSITIONS,
    NEXT,
    TAKEN_OUT,
    CustodyEvent,
    DepotUnit,
    Disposition,
    Step,
    comes_to_depot,
    exchange,
    match,
    match_units,
    refuse_step,
)
from triage.records.report import Machine
from triage.values.errors import ConflictError

STEPS: tuple[Step, ...] = get_args(Step)
TODAY = date(2026, 3, 2)
AT = datetime(2026, 3, 2, 17, tzinfo=UTC)
UNIT = DepotUnit("LH20-D1", "LH-20", 115, 20, "grooved", date(2026, 1, 10), "Stores East", date(2025, 12, 1))
MACHINE = replace(
    MACHINES[0],
    facts={"nominal_volts": Decimal(120), "circuit_amps": Decimal(20), "seal_style": "grooved"},
)


def with_facts(**facts: Any) -> Machine:
    return replace(MACHINE, facts={**MACHINE.facts, **facts})


def test_the_same_model_on_the_same_circuit_with_the_same_seal_fits() -> None:
    found = match(UNIT, MACHINE, TODAY)
    assert (found.fits, found.reasons, found.to_check) == (True, (), ())


@pytest.mark.parametrize(
    ("unit", "reason"),
    [
        (replace(UNIT, model="LH-30"), "it is of model LH-30; the machine is of LH-20"),
        (replace(UNIT, volts=230), "it takes 230 V; the outlet has 120 V"),
        (replace(UNIT, amps=30), "it is for a circuit of 30 A; the outlet's has 20 A"),
        (replace(UNIT, seal_style="flat"), "its hopper seal is flat; the store keeps the grooved one"),
        (replace(UNIT, ready_since=date(2026, 3, 3)), "it is ready from 2026-03-03 on"),
    ],
)
def test_a_unit_that_does_not_fit_says_why(unit: DepotUnit, reason: str) -> None:
    assert match(unit, MACHINE, TODAY).reasons == (reason,)


def test_every_reason_is_given_at_once() -> None:
    wrong = replace(UNIT, model="LH-30", volts=230, amps=30, seal_style="flat")
    assert len(match(wrong, MACHINE, TODAY).reasons) == 4


@pytest.mark.parametrize(
    ("unit_amps", "circuit_amps", "fits"),
    [(20, 20, True), (15, 20, True), (20, 15, False), (20, 30, False), (15, 30, False), (15, 15, True)],
)
def test_a_plug_is_used_on_its_own_circuit_or_on_the_one_it_is_made_for(
    unit_amps: int, circuit_amps: int, fits: bool
) -> None:
    machine = with_facts(circuit_amps=Decimal(circuit_amps))
    assert match(replace(UNIT, amps=unit_amps), machine, TODAY).fits is fits


@pytest.mark.parametrize(
    ("unit_volts", "outlet_volts", "fits"), [(115, 120, True), (120, 115, True), (230, 208, False)]
)
def test_one_supply_has_several_names(unit_volts: int, outlet_volts: int, fits: bool) -> None:
    machine = with_facts(nominal_volts=Decimal(outlet_volts))
    assert match(replace(UNIT, volts=unit_volts), machine, TODAY).fits is fits


def test_what_is_not_on_record_is_to_be_checked_and_excludes_nothing() -> None:
    found = match(UNIT, replace(MACHINE, facts={}), TODAY)
    assert found.fits
    assert [text.split(";")[0] for text in found.to_check] == [
        "the outlet's voltage is not on record",
        "the circuit's rating is not on record",
        "the seal's style is not on record",
    ]


def test_the_best_comes_first() -> None:
    newer, flat = replace(UNIT, serial="N", ready_since=date(2026, 2, 1)), replace(UNIT, seal_style="flat")
    wrong = replace(UNIT, serial="W", model="LH-30", volts=230)
    found = match_units([wrong, flat, newer, UNIT], MACHINE, TODAY)
    assert [(one.unit, one.fits) for one in found] == [
        (UNIT, True),
        (newer, True),
        (flat, False),
        (wrong, False),
    ]


def exchanged(known: Machine | None = None, disposition: Disposition = "refurbish") -> Any:
    return exchange(MACHINE, UNIT, known, disposition, "T-1", AT, "van-3")


def test_the_new_unit_takes_site_contractor_and_outlet_and_keeps_its_own_dates() -> None:
    new = exchanged().installed
    assert (new.serial, new.site, new.contractor) == ("LH20-D1", ALDER, "fogline")
    assert (new.shipped_on, new.commissioned_on) == (date(2025, 12, 1), None)
    assert new.facts == MACHINE.facts


def test_facts_of_the_old_machine_itself_do_not_move() -> None:
    old = with_facts(bolt_removed=True, dedicated_circuit=True)
    new = exchange(old, UNIT, None, "scrap", "T-1", AT, "van-3").installed
    assert "bolt_removed" not in new.facts
    assert new.facts["dedicated_circuit"] is True


def test_a_unit_that_served_before_keeps_its_record_but_not_the_outlet_it_stood_at() -> None:
    known = Machine(
        "LH20-D1",
        "LH-20",
        date(2022, 5, 1),
        date(2022, 6, 1),
        None,
        None,
        "LW-77",
        Money("900.00", "USD"),
        {"bolt_removed": True, "other_load_amps": Decimal(9)},
    )
    new = exchanged(known).installed
    assert (new.asset_tag, new.shipped_on, new.commissioned_on) == (
        "LW-77",
        known.shipped_on,
        known.commissioned_on,
    )
    assert new.price == known.price
    assert new.facts["bolt_removed"] is True
    assert "other_load_amps" not in new.facts


@pytest.mark.parametrize(("disposition", "step"), DISPOSITIONS.items())
def test_the_old_unit_leaves_its_site_and_both_serials_are_linked_by_the_ticket(
    disposition: Disposition, step: Step
) -> None:
    done = exchanged(disposition=disposition)
    old = done.taken_out
    assert (old.serial, old.site, old.contractor) == ("LH20-1", None, None)
    assert (old.shipped_on, old.commissioned_on, old.facts) == (
        MACHINE.shipped_on,
        MACHINE.commissioned_on,
        MACHINE.facts,
    )
    assert done.custody == (
        CustodyEvent("LH20-D1", "installed", AT, "van-3", "T-1", "LH20-1", "halt-001"),
        CustodyEvent("LH20-1", step, AT, "van-3", "T-1", "LH20-D1", "Stores East"),
    )


@settings(deadline=None, derandomize=True)
@given(st.lists(st.sampled_from(STEPS), max_size=12))
def test_a_chain_of_custody_that_is_let_through_is_never_in_two_places(steps: list[Step]) -> None:
    chain: list[Step] = []
    for step in steps:
        try:
            refuse_step("S", chain[-1] if chain else None, step)
        except ConflictError:
            continue
        chain.append(step)
    for before, after in pairwise(chain):
        assert before != "scrapped"
        assert (after == "installed") <= (before == "on_the_way")
        assert (after == "on_the_way") <= (before == "at_depot")
        assert before != after


def test_a_step_that_cannot_follow_says_where_the_serial_is() -> None:
    with pytest.raises(ConflictError, match="S is scrapped; it cannot be on the way next"):
        refuse_step("S", "scrapped", "on_the_way")
    with pytest.raises(ConflictError, match="S is on record only; it cannot be installed next"):
        refuse_step("S", None, "installed")


def test_every_step_but_scrapping_leads_on() -> None:
    assert {step for step in STEPS if not NEXT[step]} == {"scrapped"}


@pytest.mark.parametrize("step", STEPS)
def test_a_list_brings_back_only_what_was_taken_out_and_made_ready_since(step: Step) -> None:
    chain = [CustodyEvent("S", step, AT, "x")]
    may = step in TAKEN_OUT and step != "scrapped"
    assert comes_to_depot(chain, date(2026, 3, 9)) is may
    assert comes_to_depot(chain, date(2026, 3, 1)) is False
    assert comes_to_depot([], date(2026, 3, 1)) is True
