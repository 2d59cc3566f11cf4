from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from moneyed import Money

from tests.triage.builders import cause, check, minimal_files, minimal_rulebook, policy
from triage.decide.causes.inference import compile_rulebook
from triage.decide.pipeline import decide
from triage.inputs.report import read_machine, read_report
from triage.records.decision import Decision
from triage.records.decision_json import as_json
from triage.records.report import History, Machine
from triage.rulebook.built_in_facts import BUILTIN_FACTS, POLICY_FACTS
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError

NOW = datetime(2026, 3, 2, 16, tzinfo=UTC)
AT = "2026-03-02T10:00:00-05:00"
IN_COVER: Mapping[str, Any] = {
    "serial": "LH-1",
    "model": "LH-20",
    "shipped_on": "2025-09-10",
    "commissioned_on": "2025-10-03",
    "site": {"id": "h", "name": "Alder Quay", "timezone": "America/New_York", "distance_km": 42},
    "contractor": "fogline",
    "price": "2400.00 USD",
}
OUT_OF_COVER = {**IN_COVER, "shipped_on": "2019-09-10", "commissioned_on": "2019-10-03"}


def outcomes(**overrides: object) -> Rulebook:
    """The minimal rulebook with one policy rule for each outcome."""
    rules = {
        "fix": policy("fix", {"plan_starts_in_store": True}, {"plan_starts_in_store": True},
                      {"plan_starts_in_store": False}, "fix_in_store", 300, "It saves {plan_saves}."),
        "send": policy("send", {"plan_starts_in_store": False}, {"plan_starts_in_store": False},
                       {"plan_starts_in_store": True}, "dispatch", 100, "Someone looks."),
        "in-warranty": policy("in-warranty", {"cover_chance": "> 0.95", "top_chance": "> 0.6"},
                           {"cover_chance": 1, "top_chance": 1}, {"cover_chance": 0, "top_chance": 1},
                           "approve", 200, "In warranty."),
        "estimate": policy("estimate", {"estimate_given": True, "over_limit": False},
                           {"estimate_given": True, "over_limit": False},
                           {"estimate_given": True, "over_limit": True}, "approve", 400, "Within it."),
        "too-much": policy("too-much", {"over_limit": True}, {"over_limit": True}, {"over_limit": False},
                           "hold", 500, "Above {headroom}."),
        "worn": policy("worn", {"spent_share_of_value": "> 0.5"}, {"spent_share_of_value": 1},
                       {"spent_share_of_value": 0}, "swap", 600, "It has eaten {spent_share_of_value}."),
    }  # fmt: skip
    return minimal_rulebook({f"policy/{name}.yml": rule for name, rule in rules.items()} | overrides)


def decided(
    rulebook: Rulebook,
    report: Mapping[str, Any],
    machine: Mapping[str, Any] | None = None,
    spent: str | None = None,
    now: datetime = NOW,
) -> Decision:
    record, history = (None, History()) if machine is None else read_machine(machine, rulebook)
    if spent is not None:
        history = replace(history, spent_on_ticket=Money(spent, "USD"))
    read = read_report({"reported_at": AT, **report}, rulebook)
    return decide(rulebook, compile_rulebook(rulebook, "checked"), read, record, history, now)


NOT_FREEZING = {"symptoms": ["not_freezing"], "answers": {"filter_days": 40}}
LEAKING = {"symptoms": ["leaking"]}


def test_an_overdue_filter_is_rinsed_in_the_store() -> None:
    found = decided(outcomes(), NOT_FREEZING, OUT_OF_COVER)

    assert found.outcome == "fix_in_store"
    assert found.plan[0].check == "rinse-filter"
    assert [reason.rule for reason in found.reasons] == ["fix"]
    assert found.reasons[0].text == f"It saves {found.computed_facts['plan_saves']} USD."
    assert found.visit is None
    assert [caution.rule for caution in found.cautions] == ["unplug-first"]
    assert found.facts["filter_neglected"].rule == "filter-neglected"
    assert found.fired == ("filter-neglected", "filter-overdue", "fix")


def test_two_likely_faults_are_said_with_checks_for_both() -> None:
    shares = {"symptoms/leaking.yml": {**_leaking(), "shares": {"seal_wrong": 90, "other": 10}}}
    found = decided(outcomes(**shares), {**NOT_FREEZING, "symptoms": ["not_freezing", "leaking"]})
    faults = as_json(found)["faults"]
    assert [(each["symptoms"], each["cause"]) for each in faults] == [
        (["not_freezing"], "dirty_filter"),
        (["leaking"], "seal_wrong"),
    ]
    assert {"reseat-seal", "rinse-filter"} <= {step.check for step in found.plan}
    assert found.notes[0].startswith("Two faults are likely")
    assert found.computed_facts["near_certain"] is False
    assert "faults" not in as_json(decided(outcomes(**shares), NOT_FREEZING))


def _leaking() -> Mapping[str, Any]:
    leaking = minimal_files()["symptoms/leaking.yml"]
    assert isinstance(leaking, dict)
    return leaking


def test_once_the_checks_have_failed_someone_is_sent() -> None:
    done = [{"check": name, "result": "not_cured"} for name in ("rinse-filter", "fill-hopper")]

    found = decided(outcomes(**{"rates.yml": cheap_rates()}), {**NOT_FREEZING, "checks": done}, OUT_OF_COVER)

    assert found.outcome == "dispatch"
    assert found.plan == ()
    assert found.visit is not None
    assert (found.visit.priority, found.visit.due.isoformat()) == (3, "2026-03-05T10:00:00-05:00")
    assert found.visit.skill == "refrigeration"
    assert found.computed_facts["checks_tried"] == 2


def cheap_rates() -> dict[str, object]:
    return {
        "default": {"trip": 20, "labor_hour": 40, "second_technician_hour": 30},
        "store": {"clerk_hour": 18, "lost_sales_hour": 22, "open_hours_a_day": 16, "days_to_visit": 1.5},
        "swap_cost": 480,
    }


def test_a_repair_above_what_may_be_spent_is_held_for_a_named_authority() -> None:
    found = decided(outcomes(), {**NOT_FREEZING, "estimate": {"total": "900.00"}}, OUT_OF_COVER, "120.00")

    assert found.outcome == "hold"
    assert found.reasons[0].text == "Above 230.00 USD."
    assert (found.limit.authority, found.limit.reach) == ("ops_lead", "555-0100")
    assert (found.limit.chance_over, str(found.limit.expected_repair.amount)) == (1.0, "900.00")
    assert found.visit is None
    assert found.approved_up_to is None


def test_an_estimate_within_the_limit_is_approved_up_to_its_amount_beyond_warranty() -> None:
    estimate = {"total": "700.00", "beyond_warranty": "140.00"}

    found = decided(outcomes(), {**NOT_FREEZING, "estimate": estimate}, OUT_OF_COVER)

    assert found.outcome == "approve"
    assert found.approved_up_to == Money("140.00", "USD")
    assert found.visit is not None
    assert found.limit.authority is None


def test_an_estimate_of_just_what_may_be_spent_is_within_the_limit_and_a_cent_more_is_not() -> None:
    for total, outcome in (("350.00", "approve"), ("350.01", "hold")):
        found = decided(outcomes(), {**NOT_FREEZING, "estimate": {"total": total}}, OUT_OF_COVER)
        assert found.outcome == outcome


def test_a_repair_in_warranty_is_approved_and_costs_the_service_nothing() -> None:
    rulebook = outcomes(**{"checks/reseat-seal.yml": None})

    found = decided(rulebook, {**LEAKING, "answers": {"cord_damaged": False}}, IN_COVER)

    assert found.outcome == "approve"
    assert found.warranty.parts.covered
    assert found.computed_facts["cover_chance"] == 1
    assert str(found.limit.expected_repair.amount) == "0.00"
    assert found.approved_up_to == Money(
        "350.00", "USD"
    )  # the standing limit, should warranty be turned down


def test_a_machine_that_has_eaten_half_its_value_is_swapped_like_an_urgent_call() -> None:
    repairs = [{"at": "2026-01-05T12:00:00Z", "ticket": "OLD-1", "cause": None, "cost": "300.00"}]

    found = decided(outcomes(), NOT_FREEZING, {**OUT_OF_COVER, "repairs": repairs})

    assert found.outcome == "swap"
    assert found.visit is not None
    assert found.visit.priority == 2
    assert {reason.outcome for reason in found.overruled} >= {"fix_in_store"}


def test_a_check_that_cured_solves_it_and_nobody_comes() -> None:
    done = [{"check": "rinse-filter", "result": "cured"}]

    found = decided(outcomes(), {**NOT_FREEZING, "checks": done}, OUT_OF_COVER)

    assert (found.outcome, found.solved, found.visit) == ("fix_in_store", True, None)
    assert (found.plan, found.questions) == ((), ())
    assert found.reasons[0].rule == "rinse-filter"


def test_a_cure_does_not_lift_a_caution_that_stops_use() -> None:
    answers = {"filter_days": 40, "cord_damaged": True}
    done = [{"check": "rinse-filter", "result": "cured"}]

    found = decided(outcomes(), {**NOT_FREEZING, "answers": answers, "checks": done}, OUT_OF_COVER)

    assert not found.solved
    assert found.outcome == "dispatch"
    assert any("still stands in the way" in note for note in found.notes)


def test_a_damaged_cord_overrides_a_plan_that_would_save_money() -> None:
    answers = {"filter_days": 40, "cord_damaged": True}

    found = decided(outcomes(), {**NOT_FREEZING, "answers": answers}, OUT_OF_COVER)

    assert (found.outcome, found.plan) == ("dispatch", ())
    assert found.visit is not None
    assert (found.visit.priority, found.visit.skill) == (1, "electrical")
    assert found.visit.due == datetime.fromisoformat("2026-03-02T14:00:00-05:00")
    assert found.cautions[0].stop_use
    assert any(note.startswith("Not to be done") for note in found.notes)


def test_a_check_that_could_not_be_done_is_not_asked_for_again_and_says_nothing_of_the_cause() -> None:
    tried = [{"check": "rinse-filter", "result": "could_not_do"}]

    before = decided(outcomes(), NOT_FREEZING)
    after = decided(outcomes(), {**NOT_FREEZING, "checks": tried})

    assert "rinse-filter" not in [step.check for step in after.plan]
    assert after.causes == before.causes


def test_a_technicians_check_never_enters_a_clerks_plan() -> None:
    hands_on = check(
        "open-up", {"symptom": '"not_freezing"'}, {"dirty_filter": 1}, who="technician", minutes=1
    )

    found = decided(outcomes(**{"checks/open-up.yml": hands_on}), NOT_FREEZING)

    assert "open-up" not in [step.check for step in found.plan]


def test_after_hours_rates_count_only_for_a_visit_that_does_not_wait_for_the_morning() -> None:
    at_night = {**NOT_FREEZING, "reported_at": "2026-03-02T03:00:00-05:00"}
    wet_at_night = {**at_night, "answers": {"cord_damaged": True}}

    assert decided(outcomes(), at_night, OUT_OF_COVER).computed_facts["after_hours"] is False
    assert decided(outcomes(), wet_at_night, OUT_OF_COVER).computed_facts["after_hours"] is True


def test_without_a_machine_the_answer_says_what_it_rests_on() -> None:
    found = decided(outcomes(), NOT_FREEZING)

    assert "No machine on record" in found.notes[0]
    assert found.warranty.terms is None
    assert found.computed_facts["cover_known"] is False


def test_missing_records_are_said() -> None:
    bare = {"serial": "A", "model": "B", "shipped_on": "2025-12-01"}

    notes = " ".join(decided(outcomes(), NOT_FREEZING, bare).notes)

    assert "No contractor on record" in notes
    assert "No site on record" in notes
    assert "No commissioning date" in notes
    assert "public holidays" in notes


def test_a_greedy_order_is_said_to_be_one() -> None:
    many = {
        f"checks/extra-{index}.yml": check(
            f"extra-{index}", {"symptom": '"not_freezing"'}, {"low_fill": 0.1}, minutes=1, wait_minutes=0
        )
        for index in range(18)
    }

    found = decided(outcomes(**many), NOT_FREEZING)

    assert not found.expected_cost.exact
    assert any("step by step" in note for note in found.notes)


def test_reports_from_the_future_or_from_before_the_machine_are_refused() -> None:
    with pytest.raises(InputError, match="future"):
        decided(outcomes(), {**NOT_FREEZING, "reported_at": (NOW + timedelta(hours=1)).isoformat()})
    with pytest.raises(InputError, match="before the machine was made"):
        decided(outcomes(), {**NOT_FREEZING, "reported_at": "2025-09-09T10:00:00-04:00"}, IN_COVER)


def test_every_computed_number_is_a_built_in_fact_of_its_type() -> None:
    estimated = {**NOT_FREEZING, "estimate": {"total": "9.00"}}
    numbers = decided(outcomes(), estimated, OUT_OF_COVER).computed_facts
    types = {"number": Decimal, "flag": bool, "choice": str, "text": str}

    assert numbers.keys() <= POLICY_FACTS
    assert POLICY_FACTS - numbers.keys() == {
        "keep_cost_year",
        "swap_cost_year",
        "swap_saves_year",
        "failures_faster",
        "fixed_by",  # where a policy rule looks at it
    }
    for name, value in numbers.items():
        assert isinstance(value, types[BUILTIN_FACTS[name].type])


def test_the_same_arguments_give_the_identical_decision_and_json() -> None:
    rulebook, again = outcomes(), outcomes()
    report = {**NOT_FREEZING, "answers": {"filter_days": 40, "fill_level": 30}}

    first, second = decided(rulebook, report, OUT_OF_COVER), decided(again, report, OUT_OF_COVER)

    assert first == second
    assert json.dumps(as_json(first)) == json.dumps(as_json(second))


def test_the_json_has_the_contracts_shape() -> None:
    found = decided(outcomes(), {**NOT_FREEZING, "answers": {"filter_days": 40}}, OUT_OF_COVER)

    shown = as_json(found, ticket="T-1")

    assert json.loads(json.dumps(shown, allow_nan=False)) == shown
    assert shown.keys() >= {
        "ticket", "outcome", "reasons", "overruled", "causes", "plan", "expected_cost", "questions",
        "cautions", "warranty", "limit", "visit", "facts", "rulebook",
    }  # fmt: skip
    assert shown["ticket"] == "T-1"
    assert shown["facts"]["filter_days"] == {"value": 40, "from": "caller"}
    assert shown["facts"]["filter_neglected"]["from"] == "derived"
    assert shown["limit"] | {"nte": "350.00", "spent": "0.00", "headroom": "350.00"} == shown["limit"]
    assert shown["expected_cost"].keys() == {"plan", "dispatch_now", "currency", "exact"}
    assert shown["causes"][0]["factors"][0].keys() >= {"rule", "held", "factor"}
    assert shown["plan"][0].keys() >= {
        "check",
        "chance",
        "minutes",
        "wait_minutes",
        "cost",
        "cautions",
        "steps",
    }
    assert shown["rulebook"] == found.rulebook
    assert datetime.fromisoformat(shown["decided_at"]) == NOW


def test_money_texts_have_the_currencys_places_and_times_an_offset() -> None:
    rulebook = outcomes(**{"causes/other.yml": cause("other", labor_hours=0.1)})
    shown = as_json(decided(rulebook, LEAKING, OUT_OF_COVER))

    for text in (shown["expected_cost"]["plan"], shown["limit"]["nte"], shown["plan"][0]["cost"]):
        assert len(text.split(".")[1]) == 2
    nothing_cures = [{"check": step["check"], "result": "not_cured"} for step in shown["plan"]]
    sent = as_json(decided(outcomes(), {**LEAKING, "checks": nothing_cures}, OUT_OF_COVER))
    assert datetime.fromisoformat(sent["visit"]["due"]).utcoffset() is not None


def test_a_machine_from_another_time_zone_is_judged_by_its_own_day() -> None:
    rulebook = outcomes()
    machine, history = read_machine(
        {**IN_COVER, "shipped_on": "2025-02-01", "commissioned_on": "2025-03-02"}, rulebook
    )
    assert isinstance(machine, Machine)
    late = {"symptoms": ["leaking"], "reported_at": "2026-03-03T04:00:00+00:00"}  # 2 March in New York

    read = read_report(late, rulebook)
    found = decide(
        rulebook, compile_rulebook(rulebook, "plain"), read, machine, history, NOW + timedelta(days=1)
    )

    assert found.warranty.labor.covered
    assert found.warranty.labor.until is not None
    assert found.warranty.labor.until.isoformat() == "2026-03-02"


def test_what_keeping_and_exchanging_cost_a_year_is_forecast_where_a_policy_rule_asks_for_it() -> None:
    costly = {
        "policy/costly.yml": policy(
            "costly",
            {"keep_cost_year": "> 0"},
            {"keep_cost_year": 1},
            {"keep_cost_year": 0},
            "swap",
            900,
            "Keeping it costs {keep_cost_year} a year, exchanging it {swap_cost_year}.",
        )
    }

    found = decided(outcomes(**costly), NOT_FREEZING, OUT_OF_COVER)

    assert found.outcome == "swap"
    assert found.reasons[0].text.startswith(
        f"Keeping it costs {found.computed_facts['keep_cost_year']} USD a year"
    )
    assert "failures_faster" not in found.computed_facts  # no failures on record to tell it by
    assert found.computed_facts["swap_saves_year"] == (
        found.computed_facts["keep_cost_year"] - found.computed_facts["swap_cost_year"]  # type: ignore[operator]
    )


def test_an_estimate_is_answered_with_what_would_have_turned_keep_or_swap() -> None:
    saves = policy(
        "saves",
        {"swap_saves_year": "> 0", "estimate_given": True},
        {"swap_saves_year": 1, "estimate_given": True},
        {"swap_saves_year": -1, "estimate_given": True},
        "swap",
        900,
        "It saves {swap_saves_year}.",
    )
    rulebook = outcomes(**{"policy/saves.yml": saves})

    def with_estimate(total: str) -> Decision:
        return decided(rulebook, {**NOT_FREEZING, "estimate": {"total": total}}, OUT_OF_COVER)

    kept = with_estimate("90.00")
    assert kept.keep_or_swap is not None
    assert (kept.keep_or_swap.choice, kept.outcome == "swap") == ("keep", False)
    point = next(point for point in kept.keep_or_swap.turning_points if point.number == "repair_now")
    assert point.now == Decimal("90.00")

    over = with_estimate(str(point.turns_at + Decimal("0.10")))
    under = with_estimate(str(point.turns_at - Decimal("0.10")))
    assert over.keep_or_swap is not None and under.keep_or_swap is not None
    assert (over.keep_or_swap.choice, under.keep_or_swap.choice) == ("swap", "keep")
    assert over.outcome == "swap"
    shown = as_json(over)["keep_or_swap"]
    assert shown["hangs_on"] == shown["turning_points"][0]["number"]
    assert shown["text"][0].startswith("Keeping it costs")
    assert as_json(decided(rulebook, NOT_FREEZING, OUT_OF_COVER))["keep_or_swap"] is None


def test_a_machine_loses_the_same_share_of_its_value_every_year() -> None:
    year_old = {**OUT_OF_COVER, "shipped_on": "2025-03-02", "commissioned_on": None}

    assert decided(outcomes(), NOT_FREEZING, year_old).computed_facts["value_now"] == Decimal("1920.00")
