from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import permutations

import pytest

from tests.triage.builders import fact, minimal_files, minimal_rulebook
from tests.triage.small_rulebooks import rule_head
from triage.decide.outcome import (
    DEFAULT_RULE,
    SAFE_ORDER,
    Situation,
    Verdict,
    cautions_said,
    cautions_that_hold,
    decide_outcome,
    fill,
    solved_verdict,
)
from triage.decide.visit import visit_kit, visit_skill
from triage.records.decision import CauseChance
from triage.rulebook.model import Caution, Outcome, PolicyRule, Rulebook, Skill
from triage.rulebook.reading.reader import rulebook_from_data

CALM = Situation(plan_starts_in_store=True, stop_use=False, danger=False, unsure=False, over_limit=False)


def rule(id_: str, outcome: Outcome, priority: int, text: str = "So.", **more: int) -> PolicyRule:
    return PolicyRule(rule_head(id_), outcome, priority, text, **more)


def caution(id_: str, **more: object) -> Caution:
    return Caution(rule_head(id_), f"Mind {id_}.", **more)  # type: ignore[arg-type]


def book(*rules: PolicyRule, cautions: tuple[Caution, ...] = ()) -> Rulebook:
    return replace(
        minimal_rulebook(),
        policy={each.head.id: each for each in rules},
        cautions={each.head.id: each for each in cautions},
    )


def verdict(*rules: PolicyRule, situation: Situation = CALM) -> Verdict:
    return decide_outcome(book(*rules), [each.head.id for each in rules], situation, {})


def test_the_highest_priority_wins_and_the_others_are_listed_as_overruled() -> None:
    found = verdict(
        rule("cheap", "fix_in_store", 100), rule("worn", "swap", 500), rule("far", "dispatch", 300)
    )

    assert found.outcome == "swap"
    assert [reason.rule for reason in found.reasons] == ["worn"]
    assert [(reason.rule, reason.outcome) for reason in found.overruled] == [
        ("far", "dispatch"),
        ("cheap", "fix_in_store"),
    ]


def test_rules_for_the_winning_outcome_are_all_reasons_the_strongest_first() -> None:
    found = verdict(rule("b", "dispatch", 100), rule("a", "dispatch", 900), rule("c", "hold", 500))

    assert [reason.rule for reason in found.reasons] == ["a", "b"]


def test_between_equal_priorities_the_outcome_that_risks_least_is_taken() -> None:
    for index, outcome in enumerate(SAFE_ORDER):
        riskier = [rule(f"r-{other}", other, 100) for other in SAFE_ORDER[index:]]
        assert verdict(*reversed(riskier)).outcome == outcome


def test_the_order_in_which_rules_fired_does_not_matter() -> None:
    rules = (rule("a", "dispatch", 100), rule("b", "swap", 100), rule("c", "swap", 100))

    assert verdict(*rules) == verdict(*reversed(rules))


@pytest.mark.parametrize(
    "situation", [replace(CALM, stop_use=True), replace(CALM, plan_starts_in_store=False)]
)
def test_no_rule_can_ask_for_a_fix_in_the_store_that_must_not_be(situation: Situation) -> None:
    found = verdict(rule("fix", "fix_in_store", 1000), rule("go", "dispatch", 1), situation=situation)

    assert found.outcome == "dispatch"
    assert [reason.rule for reason in found.overruled] == ["fix"]
    assert "fix asked for fix_in_store, which is not possible" in found.notes[0]


def test_no_rule_can_approve_more_than_may_be_spent() -> None:
    found = verdict(
        rule("yes", "approve", 1000),
        situation=Situation(False, False, danger=False, unsure=False, over_limit=True),
    )

    assert found.outcome == "hold"
    assert found.reasons[0].rule == DEFAULT_RULE
    assert [reason.rule for reason in found.overruled] == ["yes"]


@pytest.mark.parametrize(
    ("situation", "outcome"),
    [
        (
            Situation(plan_starts_in_store=True, stop_use=False, danger=False, unsure=False, over_limit=True),
            "fix_in_store",
        ),
        (
            Situation(
                plan_starts_in_store=False, stop_use=False, danger=False, unsure=False, over_limit=False
            ),
            "dispatch",
        ),
        (
            Situation(
                plan_starts_in_store=False, stop_use=False, danger=False, unsure=False, over_limit=True
            ),
            "hold",
        ),
        (
            Situation(plan_starts_in_store=False, stop_use=True, danger=False, unsure=False, over_limit=True),
            "dispatch",
        ),
    ],
)
def test_without_a_rule_the_cheapest_safe_way_within_the_limit_is_taken(
    situation: Situation, outcome: str
) -> None:
    found = verdict(situation=situation)

    assert found.outcome == outcome
    assert "No policy rule decides this" in found.reasons[0].text


def test_the_most_urgent_visit_of_all_rules_that_fired_counts() -> None:
    found = verdict(
        rule("a", "dispatch", 100, visit_priority=3),
        rule("b", "dispatch", 90, visit_priority=2),
        rule("c", "swap", 80, visit_priority=1),
    )

    assert (found.outcome, found.visit_priority) == ("dispatch", 1)


def test_a_check_that_cured_is_the_reason_by_itself() -> None:
    found = solved_verdict(minimal_rulebook(), "rinse-filter")

    assert (found.outcome, found.reasons[0].rule, found.overruled) == ("fix_in_store", "rinse-filter", ())


def test_cautions_add_up_to_the_most_careful_of_them() -> None:
    cautions = (
        caution("one", forbids=frozenset({"rinse-filter"}), visit_skill="electrical", visit_priority=3),
        caution("two", forbids=frozenset({"fill-hopper"}), visit_skill="general", visit_priority=1),
    )
    rulebook = book(cautions=cautions)

    found = cautions_that_hold(rulebook, ["one", "two"])

    assert found.forbidden == {"rinse-filter", "fill-hopper"}
    assert (found.stop_use, found.skill, found.priority) == (False, "electrical", 1)
    assert cautions_that_hold(rulebook, ["one"]).forbidden == {"rinse-filter"}


@pytest.mark.parametrize(
    ("asked", "sent"),
    [
        (("general", "electrical", "refrigeration"), "refrigeration"),
        (("general", "electrical"), "electrical"),
        ((None, "general"), "general"),
        ((None,), None),
    ],
)
def test_the_strongest_skill_that_a_caution_asks_for_counts_in_whatever_order(
    asked: tuple[Skill | None, ...], sent: Skill | None
) -> None:
    rulebook = book(cautions=tuple(caution(str(skill), visit_skill=skill) for skill in asked))

    for fired in permutations(map(str, asked)):
        assert cautions_that_hold(rulebook, fired).skill == sent


def test_a_caution_that_stops_use_or_forbids_all_leaves_no_check() -> None:
    rulebook = book(cautions=(caution("stop", stop_use=True), caution("all", forbids_all_checks=True)))

    for fired in ("stop", "all"):
        assert cautions_that_hold(rulebook, [fired]).forbidden == rulebook.checks.keys()


def test_a_caution_that_goes_with_checks_is_said_with_them_only_but_forbids_all_the_same() -> None:
    beside = caution("beside", only_with_checks=True, stop_use=True, forbids=frozenset({"fill-hopper"}))
    rulebook = book(cautions=(beside,))

    found = cautions_that_hold(rulebook, ["beside"])

    assert (found.said, found.stop_use, found.forbidden) == ((), False, {"fill-hopper"})
    assert cautions_said(rulebook, found, (), {}) == ()
    assert [each.rule for each in cautions_said(rulebook, found, ["beside", "beside"], {})] == ["beside"]


def test_placeholders_are_filled_as_people_read_them() -> None:
    rulebook = minimal_rulebook()
    facts = {
        "headroom": Decimal("112.4"),
        "top_chance": Decimal("0.712345"),
        "top_cause": "dirty_filter",
        "symptom": frozenset({"not_freezing", "leaking"}),
        "filter_days": Decimal("40.0"),
        "cord_damaged": False,
        "seal_style": "grooved",
        "cleaned_on": date(2026, 1, 31),
    }
    text = "{headroom}; {top_chance}; {top_cause}; {symptom}; {filter_days}; {cord_damaged}; {seal_style}"

    filled = fill(text, facts, rulebook)

    assert filled == "112.40 USD; 71 %; Dirty filter; Leaking, Not freezing; 40; no; Grooved seal"
    assert fill("{cleaned_on} {nte} {Not a fact}", facts, rulebook) == "2026-01-31 not known {Not a fact}"


def test_a_fact_is_money_by_its_unit_whoever_names_it() -> None:
    files = minimal_files({"facts/deposit.yml": fact("deposit", "number", unit="money")})
    rulebook = rulebook_from_data(files)
    euros = rulebook_from_data({**files, "rulebook.yml": {"title": "Euros", "currency": "EUR"}})
    facts = {"deposit": Decimal("7.5"), "nte": Decimal(350), "filter_days": Decimal("7.5")}

    assert fill("{deposit}; {nte}; {filter_days}", facts, rulebook) == "7.50 USD; 350.00 USD; 7.5"
    assert fill("{deposit}; {nte}", facts, euros) == "7.50 EUR; 350.00 EUR"
    assert euros.facts["deposit"].unit == "EUR"


def test_skill_and_kit_come_from_the_likely_causes_unless_a_caution_asks_for_a_skill() -> None:
    rulebook = book(
        cautions=(caution("wet", visit_skill="electrical"), caution("look", visit_skill="general"))
    )
    likely = [
        CauseChance("seal_wrong", "", 0.6, 0.5, ()),
        CauseChance("compressor_fault", "", 0.3, 0.3, ()),
        CauseChance("other", "", 0.1, 0.2, ()),
    ]
    none, wet = cautions_that_hold(rulebook, []), cautions_that_hold(rulebook, ["wet"])

    assert tuple(visit_kit(rulebook, likely, date(2026, 3, 1)).parts) == ("SEAL-1", "COMP-1")
    assert tuple(visit_kit(rulebook, likely[:1], date(2026, 3, 1)).parts) == ("SEAL-1",)
    assert visit_skill(rulebook, likely, none) == "refrigeration"
    assert visit_skill(rulebook, likely[:1], none) == "general"
    assert visit_skill(rulebook, likely, wet) == "electrical"
    assert visit_skill(rulebook, likely, cautions_that_hold(rulebook, ["look"])) == "refrigeration"
    assert visit_skill(rulebook, likely, cautions_that_hold(rulebook, ["look", "wet"])) == "electrical"
