from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.triage.builders import cause, check, evidence, fact, head, minimal_files, minimal_rulebook, policy
from triage.logic.conditions import AllOf, AnyOf, Compare, FactTest, Interval, Known, NoneOf, OneOf, Unknown
from triage.rulebook.reading.reader import (
    MOST_FILES,
    backups,
    read_rulebook,
    rulebook_files_data,
    rulebook_from_data,
)
from triage.values.errors import Problem, RulebookError
from triage.values.plain_data import canonical, plain

EVIDENCE = "evidence/filter-overdue.yml"


def changed(file: str, **keys: object) -> dict[str, object]:
    """A file of the minimal rulebook with some keys changed."""
    content = minimal_files()[file]
    assert isinstance(content, dict)
    return {file: {**content, **keys}}


def problems_of(overrides: Mapping[str, object]) -> tuple[Problem, ...]:
    with pytest.raises(RulebookError) as caught:
        minimal_rulebook(overrides)
    return caught.value.problems


def only_problem(overrides: Mapping[str, object]) -> str:
    found = problems_of(overrides)
    assert len(found) == 1, [str(problem) for problem in found]
    return str(found[0])


def write(folder: Path, files: Mapping[str, object]) -> Path:
    """Files as YAML on disk; text is written as it stands, data as JSON, which is YAML too."""
    for file, data in files.items():
        path = folder / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(data if isinstance(data, str) else canonical(plain(data)), encoding="utf-8")
    return folder


def when_of(when: object) -> object:
    rulebook = minimal_rulebook(
        {"checks/rinse-filter.yml": check("rinse-filter", when, {"dirty_filter": 0.8})}
    )
    return rulebook.checks["rinse-filter"].when


# what is read


def test_an_older_rule_with_the_day_it_was_written_is_still_read() -> None:
    rulebook = minimal_rulebook(changed(EVIDENCE, since="2026-01-05"))
    assert rulebook.evidence["filter-overdue"].head.since == date(2026, 1, 5)


def test_the_minimal_rulebook_is_read_whole() -> None:
    rulebook = minimal_rulebook()
    assert rulebook.currency == "USD"
    assert rulebook.evidence["filter-overdue"].seen_with == {"dirty_filter": 0.80}
    assert rulebook.evidence["filter-overdue"].others == 0.30
    assert rulebook.symptoms["not_freezing"].shares["dirty_filter"] == Decimal(30)
    assert rulebook.facts["filter_days"].range == Interval(Decimal(0), Decimal(3650), True, True)
    assert rulebook.derive["filter-neglected"].otherwise == {"filter_neglected": False}
    assert rulebook.cautions["damaged-cord"].forbids_all_checks
    assert rulebook.cautions["unplug-first"].only_with_checks
    assert rulebook.causes["seal_wrong"].repair.parts == {"SEAL-1": 1}
    assert rulebook.warranty["standard"].periods["compressor"].labor_months == 24
    assert rulebook.limits["standing"].rows[0].then == {"amount": Decimal(350)}
    assert rulebook.authorities["ops_lead"].up_to == Decimal(2000)
    assert rulebook.rates.default.parts_markup == Decimal("0.2")
    assert rulebook.service_hours.priorities[2].clock == "service"
    assert "symptom" not in rulebook.facts


def test_shares_of_a_pair_stand_in_one_file_and_name_causes_of_either_symptom() -> None:
    pair = {"low_fill": 3, "other": 1}
    one_way = changed("symptoms/leaking.yml", together_with={"not_freezing": pair})
    rulebook = minimal_rulebook(one_way)
    assert rulebook.symptoms["leaking"].together_with == {
        "not_freezing": {"low_fill": Decimal(3), "other": Decimal(1)}
    }
    both_ways = {**one_way, **changed("symptoms/not_freezing.yml", together_with={"leaking": pair})}
    assert "symptoms/leaking.yml has shares of this pair already" in only_problem(both_ways)
    stranger = {
        "causes/worn.yml": cause("worn", "motor"),
        **changed("symptoms/leaking.yml", together_with={"not_freezing": {**pair, "worn": 1}}),
    }
    assert "worn has a share in neither symptom alone" in only_problem(stranger)


def test_a_folder_and_the_same_data_give_the_same_rulebook(tmp_path: Path) -> None:
    from_data = minimal_rulebook()
    from_folder = read_rulebook(write(tmp_path, minimal_files()))
    assert from_folder.version == from_data.version
    assert from_folder.evidence == from_data.evidence
    assert rulebook_from_data(rulebook_files_data(tmp_path)).version == from_data.version


def test_data_that_went_through_json_gives_the_same_version() -> None:
    through_json = json.loads(json.dumps(minimal_files()))
    assert rulebook_from_data(through_json).version == minimal_rulebook().version


def test_a_condition_tree_is_read_with_all_its_words() -> None:
    days = FactTest("filter_days", Compare(">", Decimal(15)))
    assert when_of({"filter_days": "> 15"}) == days
    assert when_of({}) == AllOf(())
    assert when_of(
        {
            "filter_days": "> 15",
            "any_of": [{"seal_style": '"flat"'}, {"cord_damaged": True, "known": ["fill_level"]}],
            "none_of": [{"seal_style": '"flat","grooved"'}],
            "unknown": ["fill_level"],
        }
    ) == AllOf(
        (
            days,
            AnyOf(
                (
                    FactTest("seal_style", Compare("=", "flat")),
                    AllOf((FactTest("cord_damaged", Compare("=", True)), Known("fill_level"))),
                )
            ),
            NoneOf((FactTest("seal_style", OneOf((Compare("=", "flat"), Compare("=", "grooved")))),)),
            Unknown("fill_level"),
        )
    )


# the version


def test_comments_spacing_order_and_spelling_do_not_change_the_version(tmp_path: Path) -> None:
    files = minimal_files()
    files["limits/standing.yml"] = (
        "# a comment\n"
        "title:   'Standing limit'\nid: standing\nkind: nte\nhit_policy: UNIQUE\n\n"
        "inputs:\n  - seal_style\noutputs: [amount]\nrows:\n- then: {amount: 350.00}\n"
        "source: common practice, no source\n"
    )
    assert read_rulebook(write(tmp_path, files)).version == minimal_rulebook().version


def test_a_changed_number_changes_the_version() -> None:
    other = evidence(
        "filter-overdue",
        {"filter_neglected": True},
        {"filter_neglected": True},
        {"filter_neglected": False},
        {"dirty_filter": 0.81, "others": 0.30},
    )
    assert minimal_rulebook({EVIDENCE: other}).version != minimal_rulebook().version


# places


def test_a_broken_test_is_located_at_its_very_sign(tmp_path: Path) -> None:
    files = minimal_files()
    files["checks/rinse-filter.yml"] = (
        "id: rinse-filter\ntitle: Rinse\n"
        'when:\n  symptom: \'"not_freezing"\'\n  filter_days: "[2..x]"\n  seal_style: "\'flat\'"\n'
        "who: clerk\nminutes: 6\nresolves: {dirty_filtr: 0.8}\nsteps: [a]\nlook_for: b\nwhy: c\nsource: d\n"
    )
    with pytest.raises(RulebookError) as caught:
        read_rulebook(write(tmp_path, files))
    assert [problem.where for problem in caught.value.problems] == [
        "checks/rinse-filter.yml:5:21",
        "checks/rinse-filter.yml:6:16",
        "checks/rinse-filter.yml:9:12",
    ]


def test_problems_of_all_files_are_listed_together(tmp_path: Path) -> None:
    files = minimal_files()
    files["facts/fill_level.yml"] = "id: fill_level\n\ttitle: x\n"
    files["rates.yml"] = "default: 3\n"
    del files["parts.yml"]
    with pytest.raises(RulebookError) as caught:
        read_rulebook(write(tmp_path, files))
    found = {problem.file for problem in caught.value.problems}
    assert found == {"facts/fill_level.yml", "rates.yml", "parts.yml"}


def test_faults_of_shape_do_not_hide_faults_of_meaning_in_the_same_file() -> None:
    found = problems_of(
        changed(
            EVIDENCE,
            whne={},
            when={"filter_dys": 3, "filter_days": "> x"},
            then={"seen_with": {"dirty_filtre": 0.8, "low_fill": 2, "others": 0.3}},
            band="1",
            status="lively",
        )
    )
    assert sorted(problem.pointer or "" for problem in found) == [
        "/band",
        "/status",
        "/then/seen_with/dirty_filtre",
        "/then/seen_with/low_fill",
        "/when/filter_days",
        "/when/filter_dys",
        "/whne",
    ]


def test_a_broken_fact_is_reported_once_and_not_again_where_it_is_used() -> None:
    message = only_problem(changed("facts/filter_days.yml", type="nummer"))
    assert 'did you mean "number"?' in message


def test_a_folder_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(RulebookError, match="no such folder"):
        read_rulebook(tmp_path / "nowhere")


def test_an_empty_folder_lists_what_is_missing(tmp_path: Path) -> None:
    with pytest.raises(RulebookError) as caught:
        read_rulebook(tmp_path)
    assert {problem.file for problem in caught.value.problems} == {
        "rulebook.yml",
        "rates.yml",
        "parts.yml",
        "service_hours.yml",
        "symptoms",
        "causes",
    }


def test_hidden_files_and_readmes_are_passed_over(tmp_path: Path) -> None:
    files = {**minimal_files(), ".git/config": "[x", "facts/.x.yml.swp": "[x", "README.md": "# Rules"}
    assert read_rulebook(write(tmp_path, files)).version == minimal_rulebook().version


# single faults, each with its fix


@pytest.mark.parametrize(
    ("overrides", "part"),
    [
        ({"fact/x.yml": fact("x", "flag")}, 'is not a folder of a rulebook; did you mean "facts"?'),
        ({"rate.yml": {}}, 'did you mean "rates.yml"?'),
        ({"facts/y.yml": fact("x", "flag")}, 'the id is "x", but the file is named y.yml'),
        ({"facts/x.yml": [1]}, "a mapping of `key: value` lines is wanted"),
        ({"facts/x.yml": None, "symptoms/x.yml": 3}, "a mapping of `key: value` lines is wanted"),
        (changed(EVIDENCE, whne={}), 'unknown key "whne"; did you mean "when"?'),
        (
            changed(EVIDENCE, when={"filter_dys": 3}),
            'there is no fact "filter_dys"; did you mean "filter_days"?',
        ),
        (changed(EVIDENCE, when={"any_off": []}), 'did you mean "any_of"?'),
        (changed(EVIDENCE, when={}), "the condition is empty"),
        (changed(EVIDENCE, when={"any_of": []}), "any_of takes a list of mappings"),
        (changed(EVIDENCE, when={"any_of": [{}]}), "this branch is empty"),
        (changed(EVIDENCE, when={"known": "filter_days"}), "known takes a list of facts"),
        (changed(EVIDENCE, when={"known": ["filter_dais"]}), 'did you mean "filter_days"?'),
        (changed(EVIDENCE, when={"seal_style": '"groved"'}), 'did you mean "grooved"?'),
        (changed(EVIDENCE, when={"symptom": '"not_freezin"'}), 'did you mean "not_freezing"?'),
        (changed(EVIDENCE, when={"filter_days": True}), "true or false does not fit"),
        (changed(EVIDENCE, when={"filter_days": ["2..6"]}), "in brackets or a list needs quotes"),
        (changed(EVIDENCE, when={"top_chance": "> 0.9"}), "computed after these rules are asked"),
        (
            changed(EVIDENCE, then={"seen_with": {"dirty_filter": 0.8, "low_fill": 0.2}}),
            "`others` is missing",
        ),
        (
            changed(EVIDENCE, then={"seen_with": {"dirty_filtre": 0.8, "others": 0.2}}),
            'there is no cause "dirty_filtre"; did you mean "dirty_filter"?',
        ),
        (changed(EVIDENCE, then={"seen_with": {"dirty_filter": 1, "others": 0.2}}), "must be less than 1"),
        (changed(EVIDENCE, then={"seen_with": {"dirty_filter": "0.8", "others": 0.2}}), "a number is wanted"),
        (changed(EVIDENCE, status="lively"), 'did you mean "live"?'),
        (changed(EVIDENCE, valid_from="yesterday"), "a date such as 2026-01-31 is wanted"),
        (changed(EVIDENCE, band=1.5), "a whole number is wanted"),
        (changed(EVIDENCE, cases=[]), "at least 2 entries are wanted"),
        (
            changed(EVIDENCE, cases=[{"facts": {}, "fires": False}, {"facts": {}, "fires": False}]),
            "no case fires",
        ),
        (
            changed(
                EVIDENCE,
                cases=[{"facts": {"filter_days": 3651}, "fires": True}, {"facts": {}, "fires": False}],
            ),
            "out of range",
        ),
        (changed("checks/rinse-filter.yml", minutes=True), "true does not fit"),
        (changed("checks/rinse-filter.yml", minutes="6"), '"6" does not fit; a number is wanted'),
        (changed("checks/rinse-filter.yml", cautions=["unplug-frist"]), 'did you mean "unplug-first"?'),
        (changed("symptoms/leaking.yml", shares={"seal_wrong": 1, "low_fill": 1}), "`other` is missing"),
        (changed("symptoms/leaking.yml", ask_first=["filter_day"]), 'did you mean "filter_days"?'),
        (changed("symptoms/leaking.yml", ask_first=["filter_days", "filter_days"]), "stands here twice"),
        (changed("symptoms/leaking.yml", ask_first=["filter_neglected"]), "is not asked of the clerk"),
        (changed("symptoms/leaking.yml", together_with={"humming": {"low_fill": 1, "other": 1}}), "humming"),
        (
            changed("symptoms/leaking.yml", together_with={"leaking": {"other": 1, "low_fill": 1}}),
            "another one",
        ),
        (
            changed("symptoms/leaking.yml", together_with={"not_freezing": {"seal_wrong": 1, "low_fill": 1}}),
            "`other` is missing",
        ),
        (changed("causes/seal_wrong.yml", repair={"labor_hours": 1, "parts": {"SEAL-2": 1}}), '"SEAL-1"?'),
        (changed("facts/filter_days.yml", range="> 3"), "a range is one interval"),
        (changed("facts/filter_days.yml", unit="fortnigth"), "is not a unit pint knows"),
        (changed("facts/cord_damaged.yml", range="[0..1]"), "a flag has no range"),
        (changed("facts/cord_damaged.yml", ask=None), "needs `ask`"),
        ({"facts/color.yml": fact("color", "choice")}, "needs `choices`"),
        ({"facts/top_cause.yml": fact("top_cause", "text")}, "the program computes itself"),
        (
            changed("derive/filter-neglected.yml", then={"set": {"top_chance": 0.5}}),
            "a rule sets facts of the rulebook",
        ),
        (
            changed("derive/filter-neglected.yml", then={"set": {"filter_neglected": "yes"}}),
            "not true or false",
        ),
        (changed("cautions/damaged-cord.yml", when={}), "`when` is missing"),
        (
            changed("cautions/damaged-cord.yml", then={"text": "x", "forbids": ["rinse-fliter"]}),
            'did you mean "rinse-filter"?',
        ),
        (
            changed("cautions/damaged-cord.yml", then={"text": "x", "visit_priority": 9}),
            "its priorities are 1, 2, 3",
        ),
        (
            changed("policy/cord-dispatch.yml", then={"outcome": "dispach", "priority": 1, "text": "x"}),
            'did you mean "dispatch"?',
        ),
        (
            changed(
                "policy/cord-dispatch.yml",
                then={"outcome": "swap", "priority": 1, "text": "{head_room} left"},
            ),
            'did you mean "headroom"?',
        ),
        (
            changed(
                "policy/cord-dispatch.yml", then={"outcome": "swap", "priority": 1, "text": "{headroom left"}
            ),
            "the braces of the text do not match",
        ),
        (changed("warranty/standard.yml", periods={}), "`default` is missing"),
        (
            changed(
                "warranty/standard.yml",
                periods={
                    "default": {"parts_months": 1, "labor_months": 1},
                    "compresor": {"parts_months": 1, "labor_months": 1},
                },
            ),
            'did you mean "compressor"?',
        ),
        (changed("limits/standing.yml", outputs=["sum"], rows=[{"then": {"sum": 3}}]), "gives `amount`"),
        (changed("limits/standing.yml", rows=[{"then": {"amount": "350"}}]), "an amount is a number"),
        (changed("rulebook.yml", ops_up_to=600.005), "ops_up_to: 600.005 has more places"),
        (
            changed("rulebook.yml", together=[["rinse-filter", "rinse-filtre"]]),
            'did you mean "rinse-filter"?',
        ),
        (changed("rulebook.yml", together=[["rinse-filter", "rinse-filter"]]), "stands twice in this list"),
        (changed("rulebook.yml", together=[["rinse-filter"]]), "rulebook.yml"),
        (changed("limits/standing.yml", rows=[{"then": {"amount": "1_000"}}]), "an amount is a number"),
        (changed("limits/standing.yml", rows=[{"then": {"amount": 350.005}}]), "350.005 has more places"),
        (
            changed(
                "limits/standing.yml",
                outputs=["amount", "amount_12_months"],
                rows=[{"then": {"amount": 350, "amount_12_months": 900.001}}],
            ),
            "amount_12_months: 900.001 has more places",
        ),
        (
            changed(
                "limits/authority.yml",
                authorities={"ops_lead": {"title": "Ops lead", "reach": "555-0100", "up_to": 2000.001}},
            ),
            "2000.001 has more places than the currency; write a multiple of 0.01",
        ),
        (changed("limits/standing.yml", rows=[{"then": {}}]), 'the output "amount" is missing'),
        (
            changed("limits/standing.yml", rows=[{"when": {"seal_stile": "-"}, "then": {"amount": 3}}]),
            'not an input of this table; did you mean "seal_style"?',
        ),
        (changed("limits/standing.yml", inputs=["seal_stile"]), 'did you mean "seal_style"?'),
        (changed("limits/standing.yml", hit_policy="COLLECT"), "needs `collect`"),
        (changed("limits/standing.yml", hit_policy="PRIORITY"), "needs `output_order`"),
        (
            changed("limits/authority.yml", rows=[{"then": {"authority": "ops_laed"}}]),
            'there is no authority "ops_laed"; did you mean "ops_lead"?',
        ),
        (changed("service_hours.yml", default_priority=7), "priority 7 is not among"),
        (changed("service_hours.yml", week={"mon": ["17:00", "08:00"]}), "mon closes at 08:00"),
        (changed("service_hours.yml", week={"mon": ["08:00", "25:00"]}), "is not a time of day"),
        (changed("service_hours.yml", holidays_country="XX"), "not a country"),
        (changed("rulebook.yml", currency="ZZZ"), "not a currency"),
        (
            changed("cases/overdue-filter.yml", report={"symptoms": ["not_freezng"]}),
            'there is no symptom "not_freezng"; did you mean "not_freezing"?',
        ),
        (changed("cases/overdue-filter.yml", report={"symptoms": []}), "names no symptom"),
        (changed("cases/overdue-filter.yml", expect={"outcome": "hodl"}), 'did you mean "hold"?'),
    ],
)
def test_a_fault_is_said_once_with_its_fix(overrides: Mapping[str, object], part: str) -> None:
    assert part in only_problem(overrides)


def test_the_cause_for_everything_else_needs_a_file_of_its_own() -> None:
    found = problems_of({"causes/other.yml": None})
    assert {problem.file for problem in found} == {"symptoms/leaking.yml", "symptoms/not_freezing.yml"}
    assert all("causes/other.yml would define it" in problem.message for problem in found)


# what the files mean together


def derived(rule_id: str, needs: str, makes: str) -> dict[str, object]:
    return {
        f"derive/{rule_id}.yml": head(
            rule_id, {needs: True}, {needs: True}, {needs: False}, then={"set": {makes: True}}
        )
    }


FLAGS = {f"facts/{name}.yml": fact(name, "flag", asked_of="computed") for name in "abc"}


def test_a_circle_of_derived_facts_is_named() -> None:
    message = only_problem(
        {**FLAGS, **derived("b-of-a", "a", "b"), **derived("c-of-b", "b", "c"), **derived("a-of-c", "c", "a")}
    )
    assert "a -> b -> c -> a" in message


def test_a_fact_derived_from_itself_is_a_circle() -> None:
    assert "a -> a" in only_problem({**FLAGS, **derived("a-of-a", "a", "a")})


def test_two_circles_are_both_named() -> None:
    found = problems_of(
        {**FLAGS, **derived("a-of-a", "a", "a"), **derived("b-of-c", "c", "b"), **derived("c-of-b", "b", "c")}
    )
    assert sorted((problem.file, problem.message.split(": ", 1)[1].split(";")[0]) for problem in found) == [
        ("derive/a-of-a.yml", "derived facts go in a circle: a -> a"),
        ("derive/c-of-b.yml", "derived facts go in a circle: b -> c -> b"),
    ]


def test_a_chain_of_derived_facts_is_no_circle() -> None:
    rulebook = minimal_rulebook({**FLAGS, **derived("b-of-a", "a", "b"), **derived("c-of-b", "b", "c")})
    assert set(rulebook.derive) == {"filter-neglected", "b-of-a", "c-of-b"}


def test_the_chances_of_a_group_stay_below_one_for_every_cause() -> None:
    message = only_problem(
        changed("evidence/fill-half.yml", then={"seen_with": {"low_fill": 0.15, "others": 0.3}})
    )
    assert "the chances for low_fill sum to 1" in message
    assert "fill-low, fill-half" in message


def test_a_cause_one_band_does_not_name_counts_with_its_others() -> None:
    message = only_problem(
        changed("evidence/fill-half.yml", then={"seen_with": {"dirty_filter": 0.95, "others": 0.1}})
    )
    assert "the chances for dirty_filter sum to 1.05" in message


def test_a_band_stands_once_in_its_group() -> None:
    assert "band 1 of group fill" in only_problem(changed("evidence/fill-half.yml", band=1))


def test_a_rule_and_a_check_may_not_share_an_id() -> None:
    twin = check("fill-low", {"fill_level": "< 20"}, {"low_fill": 0.5})
    assert "is already the id of evidence/fill-low.yml" in only_problem({"checks/fill-low.yml": twin})


def test_a_policy_rule_may_look_at_computed_numbers_and_only_a_limit_table_at_the_amount() -> None:
    rule = policy(
        "keep", {"headroom": "> 0"}, {"headroom": 1}, {"headroom": 0}, "approve", 5, "{headroom} left"
    )
    assert "keep" in minimal_rulebook({"policy/keep.yml": rule}).policy
    rule = policy("keep", {"amount": "> 0"}, {"headroom": 1}, {"headroom": 0}, "approve", 5, "x")
    assert "computed after these rules" in only_problem({"policy/keep.yml": rule})
    table = changed("limits/authority.yml", inputs=["amount"])
    assert minimal_rulebook(table).limits["authority"].inputs == ("amount",)


# bounds


def nested(depth: int) -> object:
    when: object = {"cord_damaged": True}
    for _ in range(depth - 1):
        when = {"any_of": [when]}
    return when


def test_conditions_nest_twelve_deep_and_no_deeper() -> None:
    assert when_of(nested(12)) is not None
    with pytest.raises(RulebookError, match="at most 12 deep"):
        when_of(nested(13))


def test_data_nested_without_end_is_refused() -> None:
    with pytest.raises(RulebookError, match="nested more than"):
        when_of(nested(100))


def test_too_many_branches_are_refused() -> None:
    with pytest.raises(RulebookError, match="201 branches; at most 200"):
        when_of({"any_of": [{"filter_days": number} for number in range(201)]})


def test_too_many_values_of_one_fact_are_refused_however_they_are_spread() -> None:
    lists = [{"filter_days": ",".join(str(n) for n in range(k * 300, k * 300 + 300))} for k in range(2)]
    with pytest.raises(RulebookError, match="600 values of filter_days are listed; at most 500"):
        when_of({"any_of": lists})


def test_a_value_that_is_no_data_is_refused() -> None:
    with pytest.raises(RulebookError, match="cannot stand in a rulebook"):
        minimal_rulebook({"rates.yml": {"default": object()}})


# anything at all

KINDS = [
    "rulebook.yml",
    "facts/x.yml",
    EVIDENCE,
    "limits/standing.yml",
    "service_hours.yml",
    "cases/x.yml",
    "z",
]
ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@given(st.text(), st.sampled_from(KINDS))
@settings(
    deadline=None,
    derandomize=True,
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_any_text_as_a_file_is_refused_with_problems_and_nothing_else(
    tmp_path: Path, text: str, file: str
) -> None:
    folder = write(tmp_path, {file: text.encode("utf-8", "replace").decode("utf-8")})
    with pytest.raises(RulebookError) as caught:
        read_rulebook(folder)
    assert caught.value.problems
    assert all(problem.file for problem in caught.value.problems)
    (folder / file).unlink()


@given(st.sampled_from(sorted(minimal_files())), st.data())
@settings(deadline=None, derandomize=True, max_examples=250)
def test_any_value_at_any_place_is_read_or_refused(file: str, data: st.DataObject) -> None:
    files = minimal_files()
    node = files[file]
    path: list[str | int] = []
    while isinstance(node, dict | list) and node and (not path or data.draw(st.booleans())):
        key = data.draw(st.sampled_from(sorted(node) if isinstance(node, dict) else range(len(node))))
        path.append(key)
        parent, node = node, node[key]
    parent[path[-1]] = data.draw(ANY)
    try:
        rulebook_from_data(files)
    except RulebookError as error:
        assert all(problem.file and problem.message for problem in error.problems)


def test_a_cause_without_any_use_is_allowed() -> None:
    assert "spare" in minimal_rulebook({"causes/spare.yml": cause("spare")}).causes


def test_a_folder_named_like_a_file_and_a_link_to_a_folder_are_refused(tmp_path):
    write(tmp_path, minimal_files())
    (tmp_path / "facts" / "loud.yml").mkdir()
    (tmp_path / "more").symlink_to(tmp_path / "facts", target_is_directory=True)
    with pytest.raises(RulebookError) as raised:
        read_rulebook(tmp_path)
    said = {each.file: each.message for each in raised.value.problems}
    assert "folder named like a file" in said["facts/loud.yml"]
    assert "link to a folder" in said["more"]


def test_what_an_editor_leaves_behind_is_not_read_but_told(tmp_path):
    write(tmp_path, minimal_files())
    for name in ("facts/fill_level.yml~", "facts/#fill_level.yml#", "rates.yml.bak"):
        (tmp_path / name).write_text("broken: [", encoding="utf-8")
    assert read_rulebook(tmp_path).version == rulebook_from_data(minimal_files()).version
    assert backups(tmp_path) == ("facts/#fill_level.yml#", "facts/fill_level.yml~", "rates.yml.bak")


def test_too_many_files_are_one_problem(tmp_path):
    write(tmp_path, {**{f"facts/f{number}.yml": "" for number in range(MOST_FILES)}, **minimal_files()})
    with pytest.raises(RulebookError) as raised:
        read_rulebook(tmp_path)
    (only,) = raised.value.problems
    assert f"more than {MOST_FILES} files" in only.message
