"""The default rulebook reads, says what it must, and decides as a seasoned lead would."""

from __future__ import annotations

import re

import pytest
from ruamel.yaml import YAML

from tests import RULES
from tests.rules.baseline import COUNT, ordinary_reports
from triage.decide.causes import inference
from triage.decide.pipeline import decide
from triage.decide.whole_cases import decide_case, failures
from triage.inputs.report import read_machine, read_report
from triage.logic.conditions import facts_in
from triage.records.decision import Decision
from triage.records.report import History
from triage.rulebook.built_in_facts import LOCAL_CODES
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook.rule_cases import run_rule_cases
from triage.rulebook_care.lint.lint import lint

CASES = sorted(path.stem for path in (RULES / "cases").glob("*.yml"))
LEAST = {
    "symptoms": 18, "causes": 45, "facts": 40, "checks": 30, "cautions": 20, "cases": 60, "derive": 10,
    "evidence": 80, "policy": 12,
}  # fmt: skip
EVERY_OUTCOME = {"fix_in_store", "dispatch", "approve", "hold", "swap"}
OPENS_IT = re.compile(
    r"\b(unscrew|undo the|remove the (cover|panel)|take off the (cover|panel|side|back)|"
    r"open (up )?(the|a|its) (panel|cover|machine|housing|side|back))",
    re.IGNORECASE,
)


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(RULES)


@pytest.fixture(scope="module")
def engine(rulebook):
    return inference.compile_rulebook(rulebook, "plain")


def decide_on(rulebook, engine, report, machine) -> Decision:
    read = read_report(report, rulebook)
    record, history = read_machine(machine, rulebook) if machine else (None, History())
    return decide(rulebook, engine, read, record, history, read.reported_at)


def test_not_freezing_with_nothing_known_asks_a_technicians_questions_first(rulebook, engine) -> None:
    report = {"symptoms": ["not_freezing"], "reported_at": "2026-06-10T14:30:00-04:00"}
    asked = [
        question for question in decide_on(rulebook, engine, report, None).questions if not question.safety
    ]
    first = ["filter_days", "minutes_since_refill", "minutes_since_start"]
    assert [question.fact for question in asked[:3]] == first
    assert all("together they save" in question.why for question in asked[:3])


def warned_of(rulebook, decision) -> set[str]:
    """The cautions that the report itself called for, without those that go with the plan's checks."""
    said = {caution.rule for caution in decision.cautions}
    return {rule for rule in said if not rulebook.cautions[rule].only_with_checks}


@pytest.mark.parametrize(("kind", "least"), LEAST.items())
def test_it_holds_the_whole_trade(rulebook, kind, least):
    assert len(getattr(rulebook, kind)) >= least


def test_it_has_at_least_120_rules(rulebook):
    kinds = (rulebook.derive, rulebook.evidence, rulebook.cautions, rulebook.policy)
    assert sum(map(len, kinds)) >= 120


def test_every_rule_passes_its_own_cases(rulebook):
    assert run_rule_cases(rulebook) == []


def test_every_rule_with_a_condition_has_cases_in_both_directions(rulebook):
    for kind in (rulebook.derive, rulebook.evidence, rulebook.policy, rulebook.cautions):
        for rule in kind.values():
            if getattr(rule, "only_with_checks", False):
                continue
            assert {case.fires for case in rule.head.cases} == {True, False}, rule.head.id


def test_no_two_rules_say_the_same(rulebook):
    said = {}
    for kind in (rulebook.derive, rulebook.evidence, rulebook.policy, rulebook.cautions):
        for rule in kind.values():
            if not getattr(rule, "only_with_checks", False):
                said.setdefault((type(rule), rule.head.when), []).append(rule.head.id)
    assert [ids for ids in said.values() if len(ids) > 1] == []


def test_every_estimate_says_that_it_is_one(rulebook):
    sources = [
        *(symptom.source for symptom in rulebook.symptoms.values()),
        *(rule.head.source for rule in rulebook.evidence.values()),
        *(check.source for check in rulebook.checks.values()),
        *(cause.source for cause in rulebook.causes.values()),
    ]
    assert all("no source" in source for source in sources)


def test_every_cause_belongs_to_a_symptom_or_is_the_rest(rulebook):
    named = {cause for symptom in rulebook.symptoms.values() for cause in symptom.shares}
    assert set(rulebook.causes) == named


def test_every_caution_a_check_names_exists_and_every_one_beside_checks_is_named(rulebook):
    named = {caution for check in rulebook.checks.values() for caution in check.cautions}
    beside = {id_ for id_, caution in rulebook.cautions.items() if caution.only_with_checks}
    assert named == beside


def test_every_caution_defers_to_somebody_and_leaves_the_line_on_local_codes_to_the_page(rulebook):
    for caution in rulebook.cautions.values():
        assert LOCAL_CODES not in caution.text, f"{caution.head.id}: pages and printouts say it once"
        assert caution.defers_to, caution.head.id


def test_no_text_tells_a_clerk_to_open_a_panel(rulebook):
    texts = [
        (check.id, text)
        for check in rulebook.checks.values()
        if check.who == "clerk"
        for text in (check.title, check.look_for, *check.steps)
    ]
    texts += [(fact.id, text) for fact in rulebook.facts.values() for text in (fact.ask, fact.help) if text]
    texts += [(rule.head.id, rule.text) for rule in rulebook.policy.values()]
    assert [where for where, text in texts if OPENS_IT.search(text)] == []


def test_a_clerk_unplugs_only_with_the_caution_beside_the_check(rulebook):
    for check in rulebook.checks.values():
        if check.who == "clerk" and any("unplug" in step.lower() for step in check.steps):
            assert "unplug-first" in check.cautions, check.id


def test_dangers_of_current_forbid_every_check(rulebook):
    electric = [
        "wet-electrics",
        "burning-smell",
        "shock-felt",
        "tingling-reported",
        "damaged-cord",
        "hot-plug",
        "sparks-seen",
        "breaker-trips-again",
        "stream-behind",
    ]
    for id_ in electric:
        caution = rulebook.cautions[id_]
        assert caution.stop_use and caution.forbids_all_checks and caution.visit_skill == "electrical", id_


def test_no_contact_but_invented_ones_is_in_the_files():
    for path in RULES.rglob("*.yml"):
        for number in re.findall(r"\b\d{3}-\d{4}\b", path.read_text(encoding="utf-8")):
            assert number.startswith("555-01"), path


@pytest.mark.parametrize("case", CASES)
def test_a_whole_report_is_decided_as_a_seasoned_lead_would(rulebook, engine, case):
    whole = rulebook.cases[case]
    assert whole.expect, "a case without an expectation shows nothing"
    assert list(failures(rulebook, whole, decide_case(rulebook, engine, whole))) == []


def test_the_lint_finds_nothing_that_is_not_silenced_with_a_reason(rulebook):
    found = lint(rulebook)
    assert [str(each) for each in found if each.silenced is None] == []
    assert [each for each in found if each.severity == "error"] == []


def test_the_whole_reports_reach_every_outcome(rulebook):
    assert {case.expect.get("outcome") for case in rulebook.cases.values()} >= EVERY_OUTCOME


def test_two_hundred_ordinary_reports_raise_no_caution_and_no_swap(rulebook, engine):
    surprising = []
    for report, machine in ordinary_reports():
        decision = decide_on(rulebook, engine, report, machine)
        if decision.outcome == "swap" or warned_of(rulebook, decision):
            surprising.append((machine["serial"], decision.outcome, warned_of(rulebook, decision)))
    assert surprising == []


def test_the_baseline_is_two_hundred_reports_and_always_the_same():
    first, again = list(ordinary_reports()), list(ordinary_reports())
    assert len(first) == COUNT == 200
    assert first == again


def test_a_filter_overdue_by_weeks_outweighs_its_base_share(rulebook, engine):
    report = {
        "symptoms": ["not_freezing"],
        "reported_at": "2026-06-10T14:30:00-04:00",
        "answers": {"filter_days": 40},
    }
    causes = {cause.cause: cause for cause in decide_on(rulebook, engine, report, None).causes}
    assert causes["dirty_filter"].share == pytest.approx(0.30)
    assert causes["dirty_filter"].chance > 0.6


@pytest.mark.parametrize("danger", ["wet_electrics", "burning_smell", "tingle_felt", "cord_damaged_seen"])
@pytest.mark.parametrize("symptom", ["off_taste", "leaking", "not_freezing", "no_power", "cup_station"])
def test_a_danger_said_with_any_symptom_stops_use_and_leaves_no_check(rulebook, engine, symptom, danger):
    report = {"symptoms": [symptom], "reported_at": "2026-06-10T14:30:00-04:00", "answers": {danger: True}}
    decision = decide_on(rulebook, engine, report, None)
    assert decision.outcome == "dispatch"
    assert decision.plan == ()
    assert any(caution.stop_use for caution in decision.cautions)
    assert decision.visit is not None and decision.visit.priority == 1


def test_every_file_is_one_flat_document_named_after_its_id():
    for path in sorted(RULES.glob("*/*.yml")):
        assert YAML(typ="safe").load(path)["id"] == path.stem


def test_folded_texts_read_as_one_line_without_marks(rulebook):
    for caution in rulebook.cautions.values():
        assert caution.text.isprintable(), caution.head.id


def test_no_fact_is_counted_as_two_observations(rulebook):
    observed: dict[str, set[str]] = {}
    for rule in rulebook.evidence.values():
        for fact in facts_in(rule.head.when):
            observed.setdefault(fact, set()).add(rule.group or rule.head.id)
    assert {fact: groups for fact, groups in observed.items() if len(groups) > 1} == {}


def test_a_derived_observation_shares_no_answer_with_a_direct_one(rulebook):
    direct = {fact for rule in rulebook.evidence.values() for fact in facts_in(rule.head.when)}
    for rule in rulebook.derive.values():
        if direct & {*rule.sets, *rule.otherwise}:
            assert not direct & facts_in(rule.head.when), rule.head.id


def test_the_engine_of_the_doors_decides_the_cases_as_the_plain_one_does(rulebook, engine):
    checked = inference.compile_rulebook(rulebook, "checked")
    for case in list(rulebook.cases.values())[::6]:
        by_both = [decide_on(rulebook, each, case.report, case.machine) for each in (engine, checked)]
        assert by_both[0].fired == by_both[1].fired
        assert by_both[0].outcome == by_both[1].outcome


def test_cases_of_the_baseline_raise_no_caution_and_no_swap(rulebook, engine):
    baseline = [case for case in rulebook.cases.values() if case.baseline]
    assert len(baseline) >= 15
    for case in baseline:
        decision = decide_on(rulebook, engine, case.report, case.machine)
        assert decision.outcome != "swap", case.id
        assert not warned_of(rulebook, decision), case.id
