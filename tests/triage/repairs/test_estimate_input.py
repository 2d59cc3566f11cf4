"""Estimates are read strictly: every problem at its place."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from moneyed import Money

from tests.triage.builders import minimal_rulebook
from triage.repairs.estimate_input import AskedLine, WorkTime, read_estimate
from triage.values.errors import InputError

RULEBOOK = minimal_rulebook()


def test_lines_are_read_with_what_they_name() -> None:
    estimate = read_estimate(
        {
            "cause": "compressor_fault",
            "after_hours": True,
            "lines": [
                {"kind": "trip", "amount": "95.00 USD"},
                {"kind": "labor", "hours": Decimal("1.5"), "note": "on the roof"},
                {"kind": "part", "number": "COMP-1", "quantity": 2, "serials": ["C-1", "C-2"]},
            ],
        },
        RULEBOOK,
    )
    assert estimate.cause == "compressor_fault"
    assert estimate.time == WorkTime(after_hours=True)
    assert estimate.lines == (
        AskedLine("trip", Money("95.00", "USD")),
        AskedLine("labor", hours=Decimal("1.5"), note="on the roof"),
        AskedLine("part", number="COMP-1", quantity=2, serials=("C-1", "C-2")),
    )


def line(**members: Any) -> dict[str, Any]:
    return {"lines": [{"kind": "trip"}, members]}


BAD: dict[str, tuple[Any, str]] = {
    "no lines": ({"lines": []}, "/lines"),
    "lines that are no list": ({"lines": "trip"}, "/lines"),
    "not an object": ([], ""),
    "an unknown key": ({"lines": [{"kind": "trip"}], "total": "1.00"}, "/total"),
    "an unknown kind": (line(kind="beer"), "/lines/1/kind"),
    "negative hours": (line(kind="labor", hours=-1), "/lines/1/hours"),
    "no hours": (line(kind="labor"), "/lines/1/hours"),
    "zero hours": (line(kind="labor", hours=0), "/lines/1/hours"),
    "hours as a text": (line(kind="labor", hours="2"), "/lines/1/hours"),
    "hours as a flag": (line(kind="labor", hours=True), "/lines/1/hours"),
    "too many hours": (line(kind="labor", hours=41), "/lines/1/hours"),
    "hours on a trip": (line(kind="trip", hours=1), "/lines/1/hours"),
    "an unknown part": (line(kind="part", number="SEAL-9"), "/lines/1/number"),
    "no part": (line(kind="part"), "/lines/1/number"),
    "half a part": (line(kind="part", number="SEAL-1", quantity=Decimal("0.5")), "/lines/1/quantity"),
    "no pieces": (line(kind="part", number="SEAL-1", quantity=0), "/lines/1/quantity"),
    "more serials than pieces": (
        line(kind="part", number="SEAL-1", serials=["a", "b"]),
        "/lines/1/serials",
    ),
    "another currency": (line(kind="freight", amount="9.00 EUR"), "/lines/1/amount"),
    "a negative amount": (line(kind="freight", amount="-9.00 USD"), "/lines/1/amount"),
    "an amount with too many places": (line(kind="freight", amount="9.001 USD"), "/lines/1/amount"),
    "an unknown component": (line(kind="freight", component="wheels"), "/lines/1/component"),
    "an unknown cause": ({"cause": "gremlins", "lines": [{"kind": "trip"}]}, "/cause"),
    "after hours as a text": ({"after_hours": "yes", "lines": [{"kind": "trip"}]}, "/after_hours"),
    "two labor lines": (
        {"lines": [{"kind": "labor", "hours": 1}, {"kind": "labor", "hours": 2}]},
        "/lines/1/kind",
    ),
    "too many lines": ({"lines": [{"kind": "trip"}] * 61}, "/lines"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_a_problem_with_its_place(name: str) -> None:
    data, pointer = BAD[name]
    with pytest.raises(InputError) as caught:
        read_estimate(data, RULEBOOK)
    assert pointer in [problem.pointer for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ({"lines": []}, "an estimate has at least one line"),
        (line(kind="labor", hours=0), "hours are above 0 and at most 40; 0 cannot be meant"),
        (line(kind="labor", hours="2"), "hours are a number such as 1.5"),
        (
            line(kind="part", number="SEAL-1", quantity=0),
            "pieces are at least 1 and at most 50; 0 cannot be meant",
        ),
        (line(kind="part", number="SEAL-1", serials=["a", "b"]), "2 serials for 1 of the part"),
        (line(kind="part", number="SEAL-1", quantity=Decimal("1.5")), "this is a whole number"),
        (
            line(kind="part", number="x" * 99),
            f'there is no part "{"x" * 60}"; the rulebook\'s parts.yml lists the parts',
        ),
        ({"after_hours": "yes", "lines": [{"kind": "trip"}]}, "this is true or false, without quotes"),
    ],
)
def test_a_problem_says_what_would_be_right(data: Any, message: str) -> None:
    with pytest.raises(InputError) as caught:
        read_estimate(data, RULEBOOK)
    assert [problem.message for problem in caught.value.problems] == [message]


@pytest.mark.parametrize(("hours", "pieces", "lines"), [(40, 50, 60), (Decimal("0.1"), 1, 1)])
def test_the_least_and_the_most_are_read(hours: Any, pieces: int, lines: int) -> None:
    first = [{"kind": "labor", "hours": hours}, {"kind": "part", "number": "SEAL-1", "quantity": pieces}]
    estimate = read_estimate({"lines": [*first, *[{"kind": "trip"}] * (lines - 2)]}, RULEBOOK)
    assert (estimate.lines[0].hours, estimate.lines[1].quantity) == (hours, pieces)


def test_all_problems_are_listed_and_a_misspelling_is_fixed() -> None:
    data = {"cause": "compresor_fault", "lines": [{"kind": "part", "number": "SEAL-1", "quantity": 99}, {}]}
    with pytest.raises(InputError) as caught:
        read_estimate(data, RULEBOOK)
    found = {problem.pointer: problem.message for problem in caught.value.problems}
    assert set(found) == {"/cause", "/lines/0/quantity", "/lines/1/kind"}
    assert 'did you mean "compressor_fault"' in found["/cause"]
