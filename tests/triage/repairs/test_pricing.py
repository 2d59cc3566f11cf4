"""An estimate is priced by the agreement, split by warranty, and what is not agreed is named."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moneyed import Money

from tests.triage.builders import minimal_files, minimal_rulebook
from triage.decide.spending.costs import repair_estimates
from triage.decide.spending.warranty import covered_by_component, terms_by_component
from triage.records.report import Machine, Site
from triage.repairs.estimate_input import AskedLine
from triage.repairs.pricing import Bill, Visit, billed, priced
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook.terms import WarrantyPeriod, WarrantyTerms
from triage.values.dataclass_json import as_data

AGREEMENT = {
    "trip": 90,
    "labor_hour": 100,
    "billed_step_minutes": 30,
    "minimum_minutes": 60,
    "second_technician_hour": 70,
    "after_hours_factor": 1.5,
    "parts_markup": 0.2,
    "tax": 0.0825,
    "tax_on": ["parts", "labor"],
    "freight": 15,
    "distance_bands": [{"up_to_km": 50, "fee": 0}, {"up_to_km": 150, "fee": 45}],
}
FILES = minimal_files()
FILES["rates.yml"] = {**FILES["rates.yml"], "contractors": {"fogline": AGREEMENT}}  # type: ignore[dict-item]
RULEBOOK = rulebook_from_data(FILES)
SITE = Site("halt-001", "Lanternway Alder Quay", "Alder", "America/New_York", distance_km=80)
MACHINE = Machine("LH20-1", "LH-20", date(2025, 1, 5), date(2025, 2, 1), SITE, "fogline")
OUT_OF_COVER = date(2030, 1, 1)
COMPRESSOR_COVERED = date(2026, 3, 2)


def visit(component: str = "hopper", **more: object) -> Visit:
    given: dict[str, object] = {
        "contractor": "fogline",
        "machine": MACHINE,
        "component": component,
        "after_hours": False,
        "after_hours_agreed": False,
        "on": OUT_OF_COVER,
        "visited_on": OUT_OF_COVER,
        **more,
    }
    return Visit(**given)  # type: ignore[arg-type]


def usd(text: str) -> Money:
    return Money(text, "USD")


def hours(text: str) -> AskedLine:
    return AskedLine("labor", hours=Decimal(text))


def amounts(bill: Bill) -> dict[str, Decimal]:
    return {line.kind: line.amount for line in bill.lines}


def test_lines_without_an_amount_get_the_agreed_price() -> None:
    asked = [
        AskedLine("trip"),
        AskedLine("distance"),
        hours("1.6"),
        AskedLine("second_technician", hours=Decimal("0.5"), technicians=2),
        AskedLine("part", number="SEAL-1", quantity=3),
        AskedLine("freight"),
    ]
    bill = priced(RULEBOOK, visit(), asked)
    assert amounts(bill) == {
        "trip": Decimal("90.00"),
        "distance": Decimal("45.00"),
        "labor": Decimal("200.00"),  # 1.6 h is billed as four half hours
        "second_technician": Decimal("140.00"),  # two people, one hour each at least
        "part": Decimal("66.60"),
        "freight": Decimal("15.00"),
        "tax": Decimal("33.54"),  # 8.25 % of 200 + 140 + 66.60
    }
    assert bill.total == bill.beyond_warranty == usd("590.14")
    assert [line.outside for line in bill.lines] == [None] * 7
    assert [line.detail for line in bill.lines][2:6] == [
        "2 h",
        "2 × 1 h",
        "SEAL-1 × 3",
        "freight of the parts",
    ]


def test_the_minimum_is_billed_for_a_short_visit() -> None:
    assert amounts(priced(RULEBOOK, visit(), [hours("0.1")]))["labor"] == Decimal("100.00")


def test_after_hours_labor_costs_the_factor_and_is_named_where_the_ticket_can_wait() -> None:
    agreed = priced(RULEBOOK, visit(after_hours=True, after_hours_agreed=True), [hours("1")])
    assert (agreed.lines[0].amount, agreed.lines[0].outside) == (Decimal("150.00"), None)
    waits = priced(RULEBOOK, visit(after_hours=True), [hours("1")])
    assert waits.lines[0].outside == (
        "after-hours rates are not agreed for this ticket, which can wait for service hours"
    )


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ([AskedLine("trip", usd("90.01"))], "90.01 is 0.01 more than the agreement pays (90.00)"),
        ([AskedLine("trip"), AskedLine("trip")], "the agreement pays one trip a visit"),
        ([AskedLine("freight")], "freight without a part"),
        ([AskedLine("tax", usd("1.00"))], "1.00 is 1.00 more than the agreement pays (0.00)"),
        (
            [AskedLine("part", usd("30.00"), number="SEAL-1")],
            "30.00 is 7.80 more than the agreement pays (22.20)",
        ),
    ],
)
def test_a_line_outside_the_agreement_is_named_with_its_place(asked: list[AskedLine], why: str) -> None:
    bill = priced(RULEBOOK, visit(), asked)
    written = billed(bill)
    outside = written.outside
    assert [found.why for found in outside] == [why]
    assert written.lines[int(outside[0].line.rpartition("/")[2])].kind == asked[-1].kind


@pytest.mark.parametrize(
    ("asked", "late", "outside"),
    [
        ([AskedLine("trip", usd("440.00"))], False, "350.00"),
        ([AskedLine("trip")] * 4, False, "270.00"),
        ([AskedLine("trip"), AskedLine("tax", usd("150.00"))], False, "150.00"),
        ([AskedLine("freight")], False, "15.00"),
        ([hours("1")], True, "54.13"),  # 50.00 of 150.00 and the tax on it: 12.38 - 8.25
        ([replace(hours("1"), amount=usd("190.00"))], False, "97.43"),  # 90.00, and 15.68 - 8.25 of tax
        ([replace(hours("1"), amount=usd("60.00")), AskedLine("trip", usd("91.00"))], False, "1.00"),
    ],
)
def test_what_is_outside_the_agreement_is_what_it_would_not_have_paid(
    asked: list[AskedLine], late: bool, outside: str
) -> None:
    bill = priced(RULEBOOK, visit(after_hours=late), asked)
    written = billed(bill)
    assert bill.outside_agreement == written.outside_agreement == usd(outside)
    assert written.not_agreed == Decimal(outside)
    assert sum(line.above.amount for line in written.lines if line.above is not None) == Decimal(outside)


def test_a_bill_as_agreed_has_nothing_outside() -> None:
    asked = [AskedLine("trip"), hours("1.6"), AskedLine("part", number="SEAL-1"), AskedLine("freight")]
    written = billed(priced(RULEBOOK, visit(after_hours=True, after_hours_agreed=True), asked))
    assert (written.outside_agreement, written.not_agreed) == (None, Decimal(0))


def test_a_hand_written_tax_on_covered_lines_is_outside_once() -> None:
    asked = [AskedLine("trip"), hours("1"), AskedLine("tax", usd("58.25"))]
    bill = priced(RULEBOOK, visit("compressor", on=date(2026, 3, 2)), asked)
    assert bill.outside_agreement == usd("50.00")


def test_an_older_bill_tells_what_its_lines_are_above_their_agreed_price() -> None:
    written = billed(priced(RULEBOOK, visit(), [AskedLine("trip", usd("95.00")), AskedLine("freight")]))
    assert replace(written, outside_agreement=None).not_agreed == Decimal("5.00")


def test_a_line_below_the_agreement_is_taken_as_asked() -> None:
    bill = priced(RULEBOOK, visit(), [AskedLine("trip", usd("60.00"))])
    assert (bill.total, bill.lines[0].outside) == (usd("60.00"), None)


def test_covered_lines_are_apart_from_the_rest_and_tax_follows_them() -> None:
    asked = [
        AskedLine("trip"),
        hours("2"),
        AskedLine("part", number="COMP-1"),
        AskedLine("part", number="SEAL-1", component="hopper"),
    ]
    bill = priced(RULEBOOK, visit("compressor", on=COMPRESSOR_COVERED), asked)
    payers = {(line.kind, line.asked.number): line.terms for line in bill.lines if line.kind != "tax"}
    assert payers == {
        ("trip", ""): "standard",
        ("labor", ""): "standard",
        ("part", "COMP-1"): "standard",
        ("part", "SEAL-1"): None,
    }
    assert bill.beyond_warranty == usd("24.03")  # 22.20 and its own tax
    assert bill.total == bill.claimed + bill.beyond_warranty
    assert {line.terms: line.amount for line in bill.lines if line.kind == "tax"} == {
        "standard": Decimal("77.88"),
        None: Decimal("1.83"),
    }


def with_deductible(amount: str, **periods: tuple[int, int]) -> Rulebook:
    terms = WarrantyTerms(
        id="standard",
        title="Standard terms",
        models=frozenset(),
        starts="commissioned",
        cap_months_from_ship=None,
        periods={name: WarrantyPeriod(*months) for name, months in periods.items()},
        risks=(),
        claim_needs=(),
        source="common practice, no source",
        deductible=Decimal(amount),
    )
    return replace(RULEBOOK, warranty={"standard": terms})


def test_the_deductible_of_a_claim_is_the_services() -> None:
    rulebook = with_deductible("75", default=(60, 60))
    bill = priced(rulebook, visit(on=COMPRESSOR_COVERED), [AskedLine("trip"), hours("1")])
    assert (bill.total, bill.beyond_warranty, bill.claimed) == (usd("198.25"), usd("75.00"), usd("123.25"))
    small = priced(rulebook, visit(on=COMPRESSOR_COVERED), [AskedLine("trip", usd("60.00"))])
    assert (small.beyond_warranty, small.claimed) == (usd("60.00"), usd("0.00"))


def test_nothing_is_deducted_where_nothing_is_claimed() -> None:
    bill = priced(with_deductible("75", default=(0, 0)), visit(), [AskedLine("trip")])
    assert (bill.deductible, bill.beyond_warranty) == (Decimal(0), usd("90.00"))


@settings(deadline=None)
@given(
    cause=st.sampled_from(sorted(RULEBOOK.causes)),
    late=st.booleans(),
    parts=st.sampled_from([0, 60]),
    labor=st.sampled_from([0, 60]),
    distance=st.integers(0, 300),
)
def test_a_typical_repair_priced_line_by_line_is_the_typical_estimate(
    cause: str, late: bool, parts: int, labor: int, distance: int
) -> None:
    rulebook = with_deductible("0", default=(parts, labor))
    repair = rulebook.causes[cause].repair
    machine = replace(MACHINE, site=replace(SITE, distance_km=distance))
    asked = [AskedLine("trip"), AskedLine("distance"), AskedLine("labor", hours=repair.labor_hours)]
    asked += [AskedLine("part", number=number, quantity=pieces) for number, pieces in repair.parts.items()]
    asked += [AskedLine("freight")] if repair.parts else []
    component = rulebook.causes[cause].component
    bill = priced(
        rulebook,
        visit(component, machine=machine, after_hours=late, after_hours_agreed=late, on=COMPRESSOR_COVERED),
        asked,
    )
    typical = repair_estimates(rulebook, (cause,), COMPRESSOR_COVERED, "fogline", late, distance)[cause]
    concerned = frozenset({component})
    terms = terms_by_component(rulebook, machine, concerned, COMPRESSOR_COVERED)
    covered = covered_by_component(machine, terms, concerned, COMPRESSOR_COVERED)[component]
    assert bill.total.amount == typical.total
    assert bill.beyond_warranty.amount == typical.beyond_warranty(*covered)
    assert not any(line.outside for line in bill.lines)


LINES = st.lists(
    st.builds(
        AskedLine,
        kind=st.sampled_from(["trip", "part", "freight"]),
        amount=st.none() | st.decimals(0, 2000, places=2).map(lambda amount: Money(amount, "USD")),
        number=st.just("SEAL-1"),
        quantity=st.integers(1, 5),
        component=st.sampled_from([None, "hopper", "compressor", "air_side"]),
    ),
    max_size=6,
)


@settings(deadline=None)
@given(
    lines=LINES,
    tax=st.none() | st.decimals(0, 500, places=2),
    deductible=st.integers(0, 400),
    months=st.tuples(st.sampled_from([0, 60]), st.sampled_from([0, 60])),
)
def test_every_cent_is_paid_by_exactly_one(
    lines: list[AskedLine], tax: Decimal | None, deductible: int, months: tuple[int, int]
) -> None:
    rulebook = with_deductible(str(deductible), default=(0, 0), compressor=months)
    asked = [*lines, *([] if tax is None else [AskedLine("tax", Money(tax, "USD"))])]
    bill = priced(rulebook, visit("compressor", on=COMPRESSOR_COVERED), asked)
    assert bill.total == bill.claimed + bill.beyond_warranty
    assert bill.claimed.amount >= 0
    assert bill.beyond_warranty.amount >= 0
    assert all(line.amount >= 0 for line in bill.lines)
    given_sum = sum((line.amount for line in bill.lines), Decimal(0))
    assert bill.total.amount == given_sum
    if tax is not None:
        assert sum((line.amount for line in bill.lines if line.kind == "tax"), Decimal(0)) == tax


def test_without_a_machine_nothing_is_in_warranty_and_the_default_rates_hold() -> None:
    bill = priced(minimal_rulebook(), visit(machine=None, contractor=None), [AskedLine("trip")])
    assert bill.total == bill.beyond_warranty == usd("95.00")


def test_a_bill_is_told_line_by_line_with_who_pays_and_what_is_outside_the_agreement() -> None:
    asked = [
        replace(hours("2"), amount=usd("250.00"), note="on the roof"),
        AskedLine("part", number="SEAL-1", quantity=2, serials=("S-1",)),
        AskedLine("second_technician", hours=Decimal(1)),
    ]
    bill = priced(RULEBOOK, visit(), asked)
    data = as_data(billed(bill))

    assert data["lines"][:-1] == [
        {
            "kind": "labor",
            "detail": bill.lines[0].detail,
            "amount": "250.00 USD",
            "agreed": "200.00 USD",
            "component": "hopper",
            "paid_by": "program",
            "hours": Decimal(2),
            "note": "on the roof",
            "above": "50.00 USD",
        },
        {
            "kind": "part",
            "detail": bill.lines[1].detail,
            "amount": data["lines"][1]["agreed"],
            "agreed": data["lines"][1]["amount"],
            "component": "hopper",
            "paid_by": "program",
            "number": "SEAL-1",
            "quantity": 2,
            "serials": ["S-1"],
        },
        {
            "kind": "second_technician",
            "detail": bill.lines[2].detail,
            "amount": "70.00 USD",
            "agreed": "70.00 USD",
            "component": "hopper",
            "paid_by": "program",
            "hours": Decimal(1),
        },
    ]
    total = sum(line.amount for line in bill.lines)
    assert (data["total"], data["claimed"], data["deductible"], data["beyond_warranty"]) == (
        f"{total} USD",
        "0.00 USD",
        "0.00 USD",
        f"{total} USD",
    )
    assert data["outside"] == [
        {"line": "/lines/0", "kind": "labor", "detail": bill.lines[0].detail, "why": bill.lines[0].outside}
    ]
