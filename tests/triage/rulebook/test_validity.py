"""What holds from a day to a day: limits, warranty terms and rates, each by its own day."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.triage.builders import minimal_files
from tests.triage.services import MACHINES
from triage.decide.causes.inference import compile_rulebook
from triage.decide.limits_of_machine import Job, limits_of
from triage.decide.spending.costs import repair_estimates
from triage.decide.spending.limits import standing_limit
from triage.decide.spending.warranty import terms_for
from triage.logic.conditions import holds
from triage.records.report import History
from triage.rulebook.built_in_facts import LIMIT_DAY
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook.validity import Validity, gaps, overlaps, valid_on, validity_of
from triage.rulebook_care.lint.lint import lint
from triage.values.errors import RulebookError

OLD, NEW = date(2026, 12, 31), date(2027, 1, 1)
DAYS = st.dates(date(2026, 1, 1), date(2026, 3, 1))


def spans() -> st.SearchStrategy[Validity]:
    return st.builds(
        lambda first, length, open_: Validity(
            None if open_ == 1 else first, None if open_ == 2 else first + timedelta(days=length)
        ),
        DAYS,
        st.integers(0, 30),
        st.integers(0, 5),
    )


@given(st.lists(spans(), max_size=5), DAYS)
def test_a_day_has_one_several_or_no_span(some: list[Validity], day: date) -> None:
    class Row:
        def __init__(self, valid: Validity) -> None:
            self.valid = valid

    count = len(valid_on([Row(one) for one in some], day))
    assert any(gap.on(day) for gap in gaps(some)) == (count == 0 and bool(some))
    assert any(days.on(day) for _, _, days in overlaps(some)) == (count > 1)


@given(spans(), DAYS)
def test_as_a_test_of_the_day_it_says_the_same(span: Validity, day: date) -> None:
    test = span.test()
    assert span.on(day) == (test is None or holds(test, day))
    assert test is None or validity_of(test) == span


def limits(*rows: dict[str, object], inputs: tuple[str, ...] = ("component",)) -> dict[str, object]:
    table = {
        "id": "nte", "title": "Not to exceed", "kind": "nte", "hit_policy": "FIRST",
        "inputs": list(inputs), "outputs": ["amount"], "source": "test",
    }  # fmt: skip
    return {**table, "rows": list(rows)}


def book(**files: object) -> Rulebook:
    given = {name.replace("__", "/") + ".yml": it for name, it in files.items()}
    if "limits/nte.yml" in given:
        given["limits/standing.yml"] = None
    data = {name: it for name, it in {**minimal_files(), **given}.items() if it is not None}
    return rulebook_from_data(data)


COMPRESSORS = limits(
    {"when": {"component": '"compressor"'}, "valid_from": NEW, "then": {"amount": 900}},
    {"then": {"amount": 300}},
)


@pytest.mark.parametrize(
    ("day", "component", "amount"),
    [(OLD, "compressor", 300), (NEW, "compressor", 900), (NEW, "hopper", 300), (NEW, None, 300)],
)
def test_a_limit_for_compressors_holds_from_its_day_on(day: date, component: str | None, amount: int) -> None:
    rulebook = book(limits__nte=COMPRESSORS)
    facts: dict[str, Any] = {LIMIT_DAY: day} | ({} if component is None else {"component": component})

    assert standing_limit(rulebook, facts, Decimal(0), Decimal(0)).nte == amount
    at = datetime(day.year, day.month, day.day, 17, tzinfo=UTC)
    found = limits_of(rulebook, compile_rulebook(rulebook), MACHINES[0], History(), at, Job(component))
    assert found["limit"]["nte"] == f"{amount}.00"


def test_terms_from_a_day_hold_by_the_day_they_name() -> None:
    files = minimal_files()
    every = files["warranty/standard.yml"]
    assert isinstance(every, dict)
    machine = MACHINES[0]
    new = {**every, "id": "new", "models": [machine.model], "valid_from": NEW}

    by_fault = rulebook_from_data({**files, "warranty/new.yml": new})
    by_shipping = rulebook_from_data({**files, "warranty/new.yml": {**new, "valid_by": "shipped"}})
    later = replace(machine, shipped_on=NEW, commissioned_on=NEW)

    def chosen(rulebook: Rulebook, of: Any, on: date) -> str | None:
        terms = terms_for(rulebook, of, "hopper", on)
        return None if terms is None else terms.id

    assert [chosen(by_fault, machine, day) for day in (OLD, NEW)] == ["standard", "new"]
    assert [chosen(by_shipping, one, NEW) for one in (machine, later)] == ["standard", "new"]


def rates(*dated: dict[str, object], **first: object) -> dict[str, object]:
    given = minimal_files()["rates.yml"]
    assert isinstance(given, dict)
    base = given["default"]
    ours = {**base, "trip": 60, **first}
    return {**given, "contractors": {"fogline": ours}, "dated": [{**base, **one} for one in dated]}


def test_rates_go_by_the_day_of_the_visit_and_the_default_fills_a_gap() -> None:
    rulebook = book(
        rates=rates({"contractor": "fogline", "valid_from": date(2027, 2, 1), "trip": 70}, valid_to=OLD)
    )

    def trip(day: date) -> Decimal:
        return repair_estimates(rulebook, ("other",), day, "fogline")["other"].lines[0].amount

    default = rulebook.rates.default.trip
    assert [trip(day) for day in (OLD, NEW, date(2027, 2, 1))] == [Decimal(60), default, Decimal(70)]


def codes(rulebook: Rulebook) -> dict[str, str]:
    return {
        found.code: f"{found.file} {'/'.join(map(str, found.path))}: {found.message}"
        for found in lint(rulebook)
    }


def test_gaps_and_overlaps_in_time_are_found_with_their_place() -> None:
    unique = limits(
        {"valid_to": OLD, "then": {"amount": 300}},
        {"valid_from": date(2027, 1, 3), "then": {"amount": 900}},
        inputs=(),
    )
    gap = codes(book(limits__nte={**unique, "hit_policy": "UNIQUE"}))
    assert "2027-01-0" in gap["limit-gap"] and gap["limit-gap"].startswith("limits/nte.yml rows")
    rows = [{"valid_to": NEW, "then": {"amount": 300}}, {"valid_from": NEW, "then": {"amount": 900}}]
    overlap = codes(book(limits__nte={**limits(*rows, inputs=()), "hit_policy": "UNIQUE"}))
    assert "2027-01-01" in overlap["limit-overlap"]

    late = {"contractor": "fogline", "valid_from": date(2027, 2, 1)}
    found = codes(book(rates=rates(late, valid_to=OLD)))
    assert "from 2027-01-01 to 2027-01-31" in found["dated-gap"]
    found = codes(book(rates=rates({**late, "valid_from": OLD}, valid_to=NEW)))
    assert (
        "rates.yml dated/0" in found["dated-overlap"]
        and "from 2026-12-31 to 2027-01-01" in found["dated-overlap"]
    )
    assert {"dated-gap", "dated-overlap"}.isdisjoint(codes(book()))


def test_rows_in_turn_are_no_finding() -> None:
    rows = [{"valid_to": OLD, "then": {"amount": 300}}, {"valid_from": NEW, "then": {"amount": 900}}]
    found = codes(book(limits__nte={**limits(*rows, inputs=()), "hit_policy": "UNIQUE"}))

    assert not [code for code in found if code.startswith("limit-")]


def test_low_ceilings_and_cheap_nights_are_found() -> None:
    nte = limits(
        {"when": {"after_hours": False}, "then": {"amount": 300}},
        {"when": {"after_hours": True}, "then": {"amount": 299}},
        inputs=("after_hours",),
    )
    ladder = {
        **limits(inputs=("amount",)), "id": "ladder", "kind": "authority", "outputs": ["authority"],
        "rows": [{"then": {"authority": "lead"}}],
        "authorities": {"lead": {"title": "Lead", "reach": "555-0110", "up_to": Decimal("600.00")}},
    }  # fmt: skip
    files = {name: it for name, it in minimal_files().items() if not name.startswith("limits/")}
    found = codes(rulebook_from_data({**files, "limits/nte.yml": nte, "limits/ladder.yml": ladder}))

    assert "rows/1/then/amount" in found["after-hours-below-day"]
    assert "authority: row 1 sends up to any amount to lead" in found["ceiling-below-row"]


def test_days_the_wrong_way_round_are_refused() -> None:
    with pytest.raises(RulebookError, match="it ends on 2026-12-31, before it begins on 2027-01-01"):
        book(limits__nte=limits({"valid_from": NEW, "valid_to": OLD, "then": {"amount": 3}}))
