from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from moneyed import Money

from tests.triage.builders import fact, minimal_rulebook
from triage.decide.decide_data import machine_as_data
from triage.inputs.report import check_history, read_machine, read_report
from triage.records.report import CheckResult
from triage.values.errors import InputError

RULEBOOK = minimal_rulebook({"facts/cleaned_on.yml": fact("cleaned_on", "date")})
NOW = datetime(2026, 3, 2, 16, tzinfo=UTC)
REPORT: Mapping[str, Any] = {
    "machine": "LH-1",
    "symptoms": ["not_freezing"],
    "reported_at": "2026-03-02T10:00:00-05:00",
    "answers": {"filter_days": 40, "seal_style": "flat"},
    "checks": [{"check": "rinse-filter", "result": "not_cured"}],
    "estimate": {"total": "312.40", "beyond_warranty": "95.00 USD"},
    "note": "It is all liquid.",
}
MACHINE: Mapping[str, Any] = {
    "serial": "LH-1",
    "model": "LH-20",
    "shipped_on": "2025-01-10",
    "commissioned_on": "2025-02-03",
    "site": {
        "id": "halt-1",
        "name": "Lanternway Alder Quay",
        "town": "Alder",
        "timezone": "America/New_York",
        "phone": "555-0101",
        "distance_km": 42,
        "open_around_the_clock": True,
    },
    "contractor": "fogline",
    "asset_tag": "LW-1",
    "price": "2400.00 USD",
    "facts": {"seal_style": "grooved"},
    "care": [{"kind": "filter_cleaned", "at": "2026-02-25T15:00:00+00:00", "by": "store", "details": {}}],
    "repairs": [{"at": "2025-09-01T12:00:00+00:00", "ticket": "OLD-1", "cause": "low_fill", "cost": "90.00"}],
}


def problems(data: object, **more: Any) -> dict[str | None, str]:
    with pytest.raises(InputError) as caught:
        read_report(data, RULEBOOK, **more)
    return {problem.pointer: problem.message for problem in caught.value.problems}


def machine_problems(**changed: Any) -> dict[str | None, str]:
    with pytest.raises(InputError) as caught:
        read_machine({**MACHINE, **changed}, RULEBOOK)
    return {problem.pointer: problem.message for problem in caught.value.problems}


def test_a_whole_report_is_read() -> None:
    report = read_report(REPORT, RULEBOOK, now=NOW)

    assert report.symptoms == ("not_freezing",)
    assert report.reported_at == datetime(2026, 3, 2, 15, tzinfo=UTC)
    assert report.answers == {"filter_days": Decimal(40), "seal_style": "flat"}
    assert report.checks == (CheckResult("rinse-filter", "not_cured"),)
    assert report.estimate is not None
    assert report.estimate.beyond_warranty == Money("95.00", "USD")


def test_a_report_needs_no_more_than_symptoms_and_a_time() -> None:
    report = read_report({"symptoms": ["leaking"], "reported_at": "2026-03-02T10:00:00Z"}, RULEBOOK)

    assert (report.machine, report.answers, report.checks, report.estimate) == (None, {}, (), None)


def test_all_problems_are_listed_with_their_places() -> None:
    found = problems(
        {
            "symptoms": ["not_freezin"],
            "reported_at": "2026-03-02T10:00:00",
            "answers": {"filter_dayz": 40, "filter_days": 9999, "cord_damaged": "yes"},
            "chekcs": [],
        }
    )

    assert found.keys() == {
        "/symptoms/0",
        "/reported_at",
        "/answers/filter_dayz",
        "/answers/filter_days",
        "/answers/cord_damaged",
        "/chekcs",
    }
    assert 'did you mean "not_freezing"?' in found["/symptoms/0"]
    assert 'did you mean "filter_days"?' in found["/answers/filter_dayz"]
    assert 'did you mean "checks"?' in found["/chekcs"]
    assert "out of range" in found["/answers/filter_days"]
    assert "no offset" in found["/reported_at"]


@pytest.mark.parametrize("symptoms", [[], None, "leaking", {}, [[]], [None], [3]])
def test_a_report_without_a_usable_symptom_is_refused(symptoms: object) -> None:
    found = problems({**REPORT, "symptoms": symptoms})

    assert all(str(pointer).startswith("/symptoms") for pointer in found)


@pytest.mark.parametrize("value", [math.nan, math.inf, "NaN", Decimal("NaN"), True, None, [40], "many"])
def test_what_is_not_a_number_is_no_answer_to_a_number(value: object) -> None:
    assert problems({**REPORT, "answers": {"filter_days": value}}).keys() == {"/answers/filter_days"}


@pytest.mark.parametrize("fact_id", ["top_cause", "headroom", "symptom", "filter_neglected"])
def test_what_the_service_works_out_cannot_be_answered(fact_id: str) -> None:
    found = problems({**REPORT, "answers": {fact_id: "x"}})

    assert "worked out by the program" in found[f"/answers/{fact_id}"]


@pytest.mark.parametrize(
    "at",
    [None, "", "yesterday", "2026-13-01T10:00:00Z", "2026-03-02", 5, "0001-01-01T00:00:00Z", "20260302T10Z"],
)
def test_a_time_that_is_no_moment_is_refused(at: object) -> None:
    assert problems({**REPORT, "reported_at": at}).keys() == {"/reported_at"}


def test_a_report_from_the_future_is_refused_but_clocks_may_differ_by_minutes() -> None:
    soon = {**REPORT, "reported_at": (NOW + timedelta(minutes=5)).isoformat()}
    later = {**REPORT, "reported_at": (NOW + timedelta(minutes=6)).isoformat()}

    assert read_report(soon, RULEBOOK, now=NOW).reported_at > NOW
    assert "future" in problems(later, now=NOW)["/reported_at"]


def test_a_report_from_before_the_machine_was_made_is_refused() -> None:
    machine, _ = read_machine(MACHINE, RULEBOOK)
    early = {**REPORT, "reported_at": "2025-01-09T23:00:00-05:00"}

    assert "before the machine was made" in problems(early, now=NOW, machine=machine)["/reported_at"]
    assert read_report(
        {**REPORT, "reported_at": "2025-01-10T00:01:00-05:00"}, RULEBOOK, now=NOW, machine=machine
    )


def test_amounts_in_another_currency_are_refused() -> None:
    found = problems({**REPORT, "estimate": {"total": "312.40 EUR", "beyond_warranty": "10.00"}})

    assert "keeps its books in USD" in found["/estimate/total"]


@pytest.mark.parametrize("total", ["NaN", "-1.00", "1.005", 12.5, True, "1e400", ""])
def test_what_is_not_an_amount_is_refused(total: object) -> None:
    assert "/estimate/total" in problems({**REPORT, "estimate": {"total": total}})


def test_more_beyond_warranty_than_in_total_is_refused() -> None:
    found = problems({**REPORT, "estimate": {"total": "10.00", "beyond_warranty": "10.01"}})

    assert "/estimate/beyond_warranty" in found


def test_results_of_checks_name_a_check_and_one_of_three_results_once() -> None:
    done = {"check": "rinse-filter", "result": "cured"}
    found = problems(
        {**REPORT, "checks": [{"check": "rinse-filtr", "result": "cured"}, {**done, "result": "ok"}]}
    )

    assert 'did you mean "rinse-filter"?' in found["/checks/0/check"]
    assert "not_cured" in found["/checks/1/result"]
    assert "twice" in problems({**REPORT, "checks": [done, done]})["/checks"]


@pytest.mark.parametrize("data", [None, [], "report", 5, True])
def test_a_report_is_an_object(data: object) -> None:
    assert "the report is an object" in problems(data)[""]


def test_a_note_has_its_limit() -> None:
    assert "/note" in problems({**REPORT, "note": "x" * 4001})


def test_a_machine_file_is_read_and_written_back_to_the_same() -> None:
    machine, history = read_machine(MACHINE, RULEBOOK)

    assert machine.site is not None
    assert machine.site.open_around_the_clock
    assert machine.price == Money("2400.00", "USD")
    assert history.repairs[0].cost == Money("90.00", "USD")
    assert read_machine(machine_as_data(machine, history), RULEBOOK) == (machine, history)


def test_a_machine_needs_a_serial_a_model_and_a_ship_date() -> None:
    with pytest.raises(InputError) as caught:
        read_machine({}, RULEBOOK)

    assert [problem.pointer for problem in caught.value.problems] == ["/serial", "/model", "/shipped_on"]
    machine, _ = read_machine({"serial": "A", "model": "B", "shipped_on": date(2026, 1, 1)}, RULEBOOK)
    assert machine.commissioned_on is None


def test_what_is_wrong_in_a_machine_file_is_located() -> None:
    site = dict(MACHINE["site"])

    assert "/commissioned_on" in machine_problems(commissioned_on="2025-01-09")
    assert "/shipped_on" in machine_problems(shipped_on="2025-02-30")
    assert "/site/timezone" in machine_problems(site={**site, "timezone": "Mars/Base"})
    assert "/site/distance_km" in machine_problems(site={**site, "distance_km": -1})
    assert "/price" in machine_problems(price="2400.00 EUR")
    assert "/facts/seal_stile" in machine_problems(facts={"seal_stile": "flat"})
    assert "/care/0/kind" in machine_problems(care=[{**MACHINE["care"][0], "kind": "filter_cleand"}])
    assert "/repairs/0/at" in machine_problems(
        repairs=[{**MACHINE["repairs"][0], "at": "2025-09-01T12:00:00"}]
    )
    assert "/serials" in machine_problems(serials=1)


def test_care_and_repairs_from_before_the_machine_was_made_are_refused() -> None:
    early = "2024-12-31T12:00:00-06:00"
    machine_file = {
        **MACHINE,
        "care": [{**MACHINE["care"][0], "at": early}],
        "repairs": [{**MACHINE["repairs"][0], "at": early}],
    }
    with pytest.raises(InputError) as caught:
        check_history(*read_machine(machine_file, RULEBOOK))

    assert [problem.pointer for problem in caught.value.problems] == ["/care/0/at", "/repairs/0/at"]
    assert "shipped, 2025-01-10" in caught.value.problems[0].message
    check_history(*read_machine(MACHINE, RULEBOOK))


def test_more_outside_the_agreement_than_in_total_is_refused_and_all_problems_are_listed() -> None:
    found = problems({**REPORT, "estimate": {"total": "10.00", "outside_agreement": "10.01"}})
    assert "/estimate/outside_agreement" in found
    found = problems({**REPORT, "estimate": {"total": "1_0.00", "outside_agreement": "１.00"}})
    assert {"/estimate/total", "/estimate/outside_agreement"} <= set(found)
