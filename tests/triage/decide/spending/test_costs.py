from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.builders import cause, minimal_rulebook
from triage.decide.spending.costs import (
    Estimate,
    EstimateLine,
    WorkStart,
    billed_hours,
    repair_estimates,
)
from triage.decide.spending.spread import CostDistribution, PossibleCost
from triage.rulebook.model import Rulebook

AGREEMENT: dict[str, object] = {
    "trip": 95,
    "labor_hour": 110,
    "billed_step_minutes": 15,
    "minimum_minutes": 60,
    "second_technician_hour": 80,
    "after_hours_factor": 1.5,
    "parts_markup": 0.2,
    "tax": 0.0825,
    "tax_on": ["parts", "freight"],
    "freight": 12,
    "distance_bands": [
        {"up_to_km": 50, "fee": 0},
        {"up_to_km": 100, "fee": 35},
        {"up_to_km": 250, "fee": 80},
    ],
}
STORE = {"clerk_hour": 18, "lost_sales_hour": 22, "open_hours_a_day": 16, "days_to_visit": 1.5}


def rulebook(**agreement: object) -> Rulebook:
    parts = {"SEAL-1": 3, "COMP-1": 1}
    return minimal_rulebook(
        {
            "causes/compressor_fault.yml": cause(
                "compressor_fault",
                "compressor",
                labor_hours=1.1,
                parts=parts,
                technicians=2,
            ),
            "rates.yml": {
                "default": {**AGREEMENT, **agreement},
                "contractors": {"fogline": {**AGREEMENT, "trip": 60}},
                "store": STORE,
                "swap_cost": 480,
            },
        }
    )


def repair_estimate(
    book: Rulebook, cause: str, contractor: str | None = None, late: bool = False, km: int | None = None
) -> Estimate:
    return repair_estimates(book, (cause,), date(2026, 3, 1), contractor, late, km)[cause]


def test_every_line_of_an_estimate_by_hand() -> None:
    estimate = repair_estimate(rulebook(), "compressor_fault", None, False, 73)

    assert estimate.lines == (
        EstimateLine("trip", "trip", Decimal("95.00")),
        EstimateLine("distance", "distance band", Decimal("35.00")),
        EstimateLine("labor", "1.25 h", Decimal("137.50")),  # 66 minutes are five steps of 15
        EstimateLine("second_technician", "1 × 1.25 h", Decimal("100.00")),
        EstimateLine("part", "SEAL-1 × 3", Decimal("66.60")),  # 3 × 18.50 × 1.2
        EstimateLine("part", "COMP-1 × 1", Decimal("744.00")),
        EstimateLine("freight", "freight of the parts", Decimal("12.00")),
        EstimateLine("tax", "8.25 %", Decimal("67.86")),  # 8.25 % of 822.60 is 67.8645
    )
    assert estimate.total == Decimal("1257.96")


def test_after_hours_rates_apply_to_labor_and_not_to_the_trip() -> None:
    lines = {
        line.kind: line.amount for line in repair_estimate(rulebook(), "compressor_fault", None, True).lines
    }

    assert lines["labor"] == Decimal("206.25")
    assert lines["second_technician"] == Decimal("150.00")
    assert lines["trip"] == Decimal("95.00")


@pytest.mark.parametrize(
    ("starts", "labor", "words"),
    [
        ("15:00", "137.50", "1.25 h"),  # service is from 08:00 to 17:00
        ("16:30", "178.75", "1.25 h, 0.75 h of it after hours"),  # 0.5 × 110 + 0.75 × 165
        ("07:45", "151.25", "1.25 h, 0.25 h of it after hours"),
        ("21:00", "206.25", "1.25 h after hours"),
    ],
)
def test_a_visit_over_the_end_of_service_is_split(starts: str, labor: str, words: str) -> None:
    at = datetime.fromisoformat(f"2026-03-02T{starts}:00-05:00")  # a Monday
    start = WorkStart(at, "America/New_York")
    estimate = repair_estimates(rulebook(), ("compressor_fault",), at.date(), None, start)["compressor_fault"]
    amounts = {line.kind: line.amount for line in estimate.lines}

    assert (str(amounts["labor"]), estimate.lines[1].detail) == (labor, words)
    assert amounts["second_technician"] == round(Decimal(labor) * 80 / 110, 2)
    assert amounts["trip"] == Decimal("95.00")


@pytest.mark.parametrize(("hours", "billed"), [("0.2", "1"), ("1", "1"), ("1.01", "1.25"), ("2.5", "2.5")])
def test_labor_is_billed_in_whole_steps_and_at_least_the_minimum(hours: str, billed: str) -> None:
    assert billed_hours(Decimal(hours), rulebook().rates.default) == Decimal(billed)


@pytest.mark.parametrize(
    ("km", "fee"), [(0, None), (50, None), (51, "35.00"), (100, "35.00"), (250, "80.00"), (900, "80.00")]
)
def test_the_distance_band_is_the_first_that_reaches_and_beyond_the_last_the_last(
    km: int, fee: str | None
) -> None:
    lines = repair_estimate(rulebook(), "other", None, False, km).lines

    assert [line.amount for line in lines if line.kind == "distance"] == ([Decimal(fee)] if fee else [])


def test_a_contractors_own_agreement_goes_before_the_default_one() -> None:
    book = rulebook()

    assert repair_estimate(book, "other", "fogline").lines[0].amount == Decimal("60.00")
    assert repair_estimate(book, "other", "nobody").lines[0].amount == Decimal("95.00")
    assert repair_estimate(book, "other", "nobody").contractor is None


def test_covered_sides_are_taken_out_with_their_tax() -> None:
    estimate = repair_estimate(rulebook(), "compressor_fault", None, False, 73)

    assert estimate.beyond_warranty(False, False) == estimate.total
    assert estimate.beyond_warranty(True, False) == Decimal("367.50")  # trip, distance, labor, second
    assert estimate.beyond_warranty(False, True) == Decimal("890.46")  # parts, freight, tax
    assert estimate.beyond_warranty(True, True) == Decimal(0)


def test_a_cause_that_the_rulebook_does_not_describe_takes_an_hour_on_the_spot() -> None:
    estimate = repair_estimate(rulebook(), "not described")

    assert [(line.kind, line.amount) for line in estimate.lines] == [
        ("trip", Decimal("95.00")),
        ("labor", Decimal("110.00")),
    ]


def test_lines_are_rounded_half_up_where_they_are_made() -> None:
    book = rulebook(parts_markup=Decimal("0.005"), tax=0)
    lines = {line.detail: line.amount for line in repair_estimate(book, "compressor_fault").lines}

    assert lines["SEAL-1 × 3"] == Decimal("55.78")  # 55.7775


def test_the_distribution_gives_mean_and_chance_above() -> None:
    outcomes = ((100, 0.5), (400, 0.4), (1000, 0.1))
    costs = CostDistribution(tuple(PossibleCost(Decimal(amount), chance) for amount, chance in outcomes))

    assert costs.expected == Decimal("310.0")
    assert costs.chance_above(Decimal(400)) == pytest.approx(0.1)
    assert costs.chance_above(Decimal("399.99")) == pytest.approx(0.5)
    assert costs.chance_above(Decimal(1000)) == 0
    assert costs.chance_above(Decimal(99)) == 1


@given(
    st.dictionaries(
        st.text("abcdef", min_size=1, max_size=2),
        st.tuples(st.integers(0, 10**6), st.integers(1, 100)),
        min_size=1,
    )
)
@settings(deadline=None, derandomize=True, max_examples=60)
def test_a_distribution_is_consistent_with_itself(drawn: dict[str, tuple[int, int]]) -> None:
    total = sum(weight for _, weight in drawn.values())
    amounts = [Decimal(cents) / 100 for cents, _ in drawn.values()]
    chances = [weight / total for _, weight in drawn.values()]
    costs = CostDistribution(tuple(map(PossibleCost, amounts, chances)))

    assert min(amounts) - 1 <= costs.expected <= max(amounts) + 1
    assert costs.chance_above(max(amounts)) == 0
    above = [costs.chance_above(amount) for amount in sorted(amounts)]
    assert above == sorted(above, reverse=True)


def test_a_repair_by_one_has_no_line_for_a_second_technician() -> None:
    assert {line.kind for line in repair_estimate(rulebook(), "low_fill").lines} & {
        "second_technician"
    } == set()
