"""Rules, checks and facts that hold from a day or to one, and the facts of the store's clock."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from tests.triage.builders import evidence, minimal_files, policy
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import decide_inputs, read_inputs
from triage.decide.on_day import clock_facts
from triage.records.decision import Decision
from triage.rulebook.reading.reader import rulebook_from_data
from triage.values.errors import RulebookError

SITE = {"id": "s", "name": "Lanternway Halt", "town": "Alder Point", "timezone": "America/Chicago"}
MACHINE = {"serial": "M-1", "model": "A-1", "shipped_on": "2024-01-10", "site": SITE}
LATE = {"hour": ">= 20", "none_of": [{"symptom": '"leaking"'}]}
HEAT = {"filter_days": 40}


def dated(file: str, **days: str) -> dict[str, object]:
    data: Any = minimal_files()[file]
    return minimal_files({file: {**data, **days}})


def decided(
    files: dict[str, object],
    at: str = "2026-03-02T21:30:00-06:00",
    symptom: str = "not_freezing",
    site: dict[str, object] = SITE,
    engine: str = "checked",
    **answers: object,
) -> Decision:
    rulebook = rulebook_from_data(files)
    report = {"symptoms": [symptom], "reported_at": at, "machine": None, "answers": answers}
    now = datetime.fromisoformat(at)
    inputs = read_inputs(report, rulebook, now, lambda _: None, {**MACHINE, "site": site})
    return decide_inputs(rulebook, compile_rulebook(rulebook, engine), inputs)


def at_night() -> dict[str, object]:
    rule = policy("not-at-night", LATE, {}, {}, "hold", 800, "Nobody is sent after 20:00 unless it leaks.")
    silent = {"hour": 21, "symptom": ["leaking"]}
    fires = {"hour": 21, "symptom": ["not_freezing"]}
    cases = [{"facts": fires, "fires": True}, {"facts": silent, "fires": False}]
    return minimal_files({"policy/not-at-night.yml": {**rule, "cases": cases}})


@pytest.mark.parametrize("engine", ["checked", "plain"])
def test_nobody_is_sent_after_eight_unless_it_leaks(engine):
    files = at_night()
    assert decided(files, engine=engine).outcome == "hold"
    assert decided(files, "2026-03-02T19:59:00-06:00", engine=engine).outcome != "hold"
    assert decided(files, symptom="leaking", engine=engine).outcome != "hold"


def test_the_hour_is_the_stores_whatever_offset_the_report_is_written_with():
    found = decided(at_night(), "2026-03-03T03:30:00+00:00")
    assert found.facts["hour"].value == 21
    assert found.outcome == "hold"


@pytest.mark.parametrize(
    ("site", "is_open"),
    [
        (SITE, None),
        ({**SITE, "open_around_the_clock": True}, True),
        ({**SITE, "access_from": "07:00", "access_until": "19:00"}, False),
        ({**SITE, "access_from": "07:00", "access_until": "22:00"}, True),
    ],
)
def test_whether_the_store_is_open_is_known_where_its_hours_are(site, is_open):
    when = {"known": ["store_open"], "weekday": '"mon"', "holiday": False}
    files = minimal_files(
        {
            "evidence/hours.yml": evidence(
                "hours",
                when,
                {"store_open": True, "weekday": "mon", "holiday": False},
                {},
                {"low_fill": 0.5, "others": 0.2},
            )
        }
    )
    files["service_hours.yml"] |= {"holidays_country": "US"}  # type: ignore[operator]
    facts = decided(files, site=site).facts
    assert (facts["store_open"].value if "store_open" in facts else None) == is_open
    assert (facts["weekday"].value, facts["holiday"].value) == ("mon", False)
    assert decided(files, "2026-07-04T12:00:00-05:00", site=site).facts["holiday"].value is True


def test_the_clock_is_no_fact_where_no_rule_looks_at_it():
    assert "hour" not in decided(minimal_files()).facts


@pytest.mark.parametrize(
    ("days", "holds"),
    [
        ({"valid_from": "2026-03-02"}, True),
        ({"valid_to": "2026-03-02"}, True),
        ({"valid_from": "2026-03-03"}, False),
        ({"valid_to": "2026-03-01"}, False),
    ],
)
@pytest.mark.parametrize("engine", ["checked", "plain"])
def test_a_rule_holds_on_its_days_by_the_stores_calendar(days, holds, engine):
    derived = decided(dated("derive/filter-neglected.yml", **days), engine=engine, **HEAT)
    assert ("filter_neglected" in derived.facts) is holds
    spoken = decided(dated("evidence/filter-overdue.yml", **days), engine=engine, **HEAT)
    assert ("filter-overdue" in spoken.fired) is holds
    warned = decided(dated("cautions/damaged-cord.yml", **days), engine=engine, cord_damaged=True)
    assert ("damaged-cord" in {each.rule for each in warned.cautions}) is holds
    argued = decided(dated("policy/cord-dispatch.yml", **days), engine=engine, cord_damaged=True)
    assert ("cord-dispatch" in argued.fired) is holds
    planned = decided(dated("checks/rinse-filter.yml", **days), engine=engine, **HEAT)
    assert ("rinse-filter" in {step.check for step in planned.plan}) is holds
    banded = decided(dated("evidence/fill-low.yml", **days), engine=engine, fill_level=10)
    assert ("fill-low" in banded.fired) is holds


def test_a_fact_out_of_its_days_is_neither_asked_nor_believed():
    files = dated("facts/filter_days.yml", valid_to="2026-03-01")
    assert "filter_days" not in decided(files, **HEAT).facts
    asked, usually = (
        {each.fact for each in decided(each, cord_damaged=False).questions}
        for each in (files, minimal_files())
    )
    assert "filter_days" in usually
    assert "filter_days" not in asked


def test_days_in_the_wrong_order_are_refused():
    with pytest.raises(RulebookError, match="before it begins"):
        rulebook_from_data(
            dated("derive/filter-neglected.yml", valid_from="2026-03-02", valid_to="2026-03-01")
        )


def test_a_dated_decision_is_made_by_the_version_that_is_dated():
    files = dated("evidence/filter-overdue.yml", valid_to="2026-03-01")
    assert decided(files).rulebook == rulebook_from_data(files).version
    assert datetime.fromisoformat("2026-03-02T21:30:00-06:00").astimezone(UTC).day == 3


def test_without_a_machine_or_its_site_nothing_is_known_of_the_clock():
    rulebook = rulebook_from_data(at_night())
    at = datetime.fromisoformat("2026-03-02T21:30:00-06:00")
    assert clock_facts(rulebook, None, at) == {}
