"""Random rules and tables go out and come back; edits by another tool come in with them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.triage.builders import fact, minimal_files, policy
from tests.triage.rulebook_care.dmn.feel_tables import rows_that_hold
from triage.logic.conditions import FactValue, evaluate
from triage.rulebook.decision_tables import matching_rows
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook.rule_cases import run_rule_cases
from triage.rulebook_care.dmn.exporting import export_model, vocabulary
from triage.rulebook_care.dmn.importing import import_tables
from triage.rulebook_care.dmn.write import write_model
from triage.values.errors import InputError, RulebookError

TESTS: dict[str, list[object]] = {
    "fill_level": [15, ">= 50", "[10..20]", "(10..20)", "not(15)", "not([10..20],30)", "< 5,> 90", "-"],
    "seal_style": ['"grooved"', 'not("grooved")', "-"],
    "cord_damaged": [True, False, "not(true)"],
    "asked_on": ['@"2026-02-28"', '>= date("2026-03-01")', 'not(date("2026-03-01"))'],
    "model": ['"a \\"quoted\\" \\u0007 one"', "bare", 'not("bare","other")', '"<&>"'],
    "symptom": ['"leaking"', 'not("leaking")', '"leaking","not_freezing"'],
}
VALUES: dict[str, list[FactValue]] = {
    "fill_level": [Decimal(value) for value in (0, 5, 10, 15, 20, 30, 50, 95)],
    "cord_damaged": [True, False],
    "model": ['a "quoted" \u0007 one', "bare", "other", "<&>", ""],
    "seal_style": ["grooved", "flat"],
    "asked_on": [date(2026, 2, 27), date(2026, 2, 28), date(2026, 3, 1), date(2026, 3, 2)],
}
BASE = minimal_files({"facts/asked_on.yml": fact("asked_on", "date")})


def a_test() -> st.SearchStrategy[tuple[str, object]]:
    return st.sampled_from(sorted(TESTS)).flatmap(
        lambda name: st.tuples(st.just(name), st.sampled_from(TESTS[name]))
    )


def mappings(depth: int = 2) -> st.SearchStrategy[dict[str, object]]:
    tests = st.lists(a_test(), min_size=1, max_size=3).map(dict)
    if depth == 0:
        return tests
    lists = st.lists(mappings(depth - 1), min_size=1, max_size=2)
    names = st.lists(st.sampled_from(sorted(TESTS)), min_size=1, max_size=2, unique=True)
    words = st.fixed_dictionaries(
        {}, optional={"any_of": lists, "none_of": lists, "known": names, "unknown": names}
    )
    return st.builds(lambda one, other: {**one, **other}, tests, words)


def with_rule(when: Mapping[str, object]) -> dict[str, object]:
    rule = policy("made-up", when, {}, {}, "dispatch", 333, "Text, with {fill_level} & <more>.")
    return {**BASE, "policy/made-up.yml": rule}


def written(files: Mapping[str, object], *only: str) -> str:
    return write_model(export_model(rulebook_from_data(files), files, only)).decode()


def without_extension(text: str) -> str:
    return re.sub(r"\s*<bw:file.*?</bw:file>", "", text, flags=re.DOTALL)


def some_facts() -> st.SearchStrategy[dict[str, FactValue]]:
    optional: dict[str, st.SearchStrategy[Any]] = {
        name: st.sampled_from(values) for name, values in VALUES.items()
    }
    optional["symptom"] = st.frozensets(st.sampled_from(["leaking", "not_freezing"]), max_size=2)
    return st.fixed_dictionaries({}, optional=optional)


def condition_of(rulebook: Rulebook) -> Any:
    return rulebook.policy["made-up"].head.when


@settings(deadline=None, derandomize=True, max_examples=60)
@given(mappings(), st.lists(some_facts(), min_size=4, max_size=4))
def test_a_rule_comes_back_the_same_with_its_extension_and_alike_without(
    when: dict[str, object], several: list[dict[str, FactValue]]
) -> None:
    files = with_rule(when)
    rulebook = rulebook_from_data(files)
    try:
        text = written(files, "policy")
    except RulebookError as error:
        assume("more than 64 rows" not in str(error))
        raise
    again = import_tables(text.encode(), "t.dmn", BASE)
    assert again.rulebook.version == rulebook.version
    table = export_model(rulebook, files, ["policy"]).tables[0]
    bare = without_extension(text)
    try:
        rebuilt = import_tables(
            bare.encode(), "t.dmn", files | {"policy/made-up.yml": _other(files)}
        ).rulebook
    except InputError as error:
        assert "the condition is empty" in str(error)  # a row that always holds
        return
    for facts in several:
        truth = evaluate(condition_of(rulebook), facts) is True
        if "made-up" in rebuilt.policy:
            assert (evaluate(condition_of(rebuilt), facts) is True) is truth
        held = {rule.values[2] for rule in rows_that_hold(table, vocabulary(rulebook), facts)}
        assert ('"made-up"' in held) is truth


def _other(files: Mapping[str, object]) -> object:
    """The same rule with another condition, so that it must be made from the rows."""
    rule = files["policy/made-up.yml"]
    assert isinstance(rule, dict)
    return {**rule, "when": {"checks_tried": 77}}


ROWS = st.lists(
    st.tuples(
        st.lists(a_test(), max_size=3).map(dict),
        st.integers(0, 99_999).map(lambda cents: cents / 100),
        st.sampled_from([True, False]),
    ),
    min_size=1,
    max_size=4,
)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(ROWS, st.sampled_from(["UNIQUE", "FIRST", "PRIORITY"]), st.lists(some_facts(), min_size=3, max_size=3))
def test_a_limit_table_comes_back_the_same_with_its_extension_and_alike_without(
    rows: list[tuple[dict[str, object], float, bool]], hit_policy: str, several: list[dict[str, FactValue]]
) -> None:
    table = {
        "id": "made_up",
        "title": "Made up: a title",
        "kind": "nte",
        "hit_policy": hit_policy,
        "inputs": sorted(TESTS),
        "outputs": ["amount", "asks"],
        "rows": [{"when": when, "then": {"amount": amount, "asks": asks}} for when, amount, asks in rows],
        "source": "for tests",
    }
    if hit_policy == "PRIORITY":
        table["output_order"] = sorted({amount for _, amount, _ in rows})
    files = {**BASE, "limits/made_up.yml": table}
    text = written(files, "made_up")
    rulebook = rulebook_from_data(files)
    assert import_tables(text.encode(), "t.dmn", BASE).rulebook.version == rulebook.version
    rebuilt = import_tables(without_extension(text).encode(), "t.dmn", BASE).rulebook
    before, after = rulebook.limits["made_up"], rebuilt.limits["made_up"]
    assert (after.hit_policy, after.outputs, after.output_order) == (
        before.hit_policy,
        before.outputs,
        before.output_order,
    )
    for facts in several:
        wanted = [row.then for row in matching_rows(before, facts)]
        assert [row.then for row in matching_rows(after, facts)] == wanted


@pytest.fixture
def text() -> str:
    return written(with_rule({"fill_level": "> 90", "cord_damaged": False}), "policy")


def row(text: str, rule: str) -> str:
    """The XML of a rule's first row."""
    found = re.search(rf'      <rule id="policy\.{rule}\.1">.*?</rule>\n', text, flags=re.DOTALL)
    assert found is not None
    return found[0]


FILES = with_rule({"fill_level": "> 90", "cord_damaged": False})


def test_a_row_that_another_tool_added_becomes_a_rule_with_cases_that_pass(text: str) -> None:
    old = row(text, "made-up")
    new = old.replace('"made-up"', '"added-row"').replace("<text>333</text>", "<text>334</text>")
    new = re.sub(r' id="[^"]*"', "", new).replace("&gt; 90", "[20..30)")
    found = import_tables(text.replace(old, old + new).encode(), "t.dmn", FILES)
    assert list(found.changed) == ["policy/added-row.yml"]
    rule = found.rulebook.policy["added-row"]
    assert (rule.priority, rule.outcome, rule.head.status) == (334, "dispatch", "live")
    assert run_rule_cases(found.rulebook) == run_rule_cases(rulebook_from_data(FILES))
    data: Any = found.files["policy/added-row.yml"]
    assert data["when"] == {"cord_damaged": False, "fill_level": "[20..30)"}
    assert [case["fires"] for case in data["cases"]] == [True, False]


def test_a_second_row_of_a_rule_is_another_way_in_which_it_holds(text: str) -> None:
    old = row(text, "made-up")
    more = re.sub(r' id="[^"]*"', "", old).replace("&gt; 90", "&lt; 5")
    found = import_tables(text.replace(old, old + more).encode(), "t.dmn", FILES)
    data: Any = found.files["policy/made-up.yml"]
    assert data["when"] == {"cord_damaged": False, "any_of": [{"fill_level": "> 90"}, {"fill_level": "< 5"}]}


def test_a_live_rule_whose_row_is_gone_is_taken_out_and_drafts_stay(text: str) -> None:
    rule: Any = FILES["policy/made-up.yml"]
    files = {**FILES, "policy/waiting.yml": {**rule, "id": "waiting", "status": "draft"}}
    out = written(files, "policy")
    assert '"waiting"' not in re.sub(r"<bw:file.*?</bw:file>", "", out)
    found = import_tables(out.replace(row(out, "made-up"), "").encode(), "t.dmn", files)
    assert found.changed == {"policy/made-up.yml": None}
    assert import_tables(out.encode(), "t.dmn", FILES).files["policy/waiting.yml"]


def test_a_new_rule_without_its_annotations_is_told_which_are_missing(text: str) -> None:
    old = row(text, "made-up")
    new = re.sub(r"\s*<annotationEntry>.*?</annotationEntry>", "", old, flags=re.DOTALL)
    new = re.sub(r' id="[^"]*"', "", new).replace('"made-up"', '"added-row"')
    with pytest.raises(InputError, match="title, text, why, source, known_misfires, owner; write them"):
        import_tables(text.replace(old, old + new).encode(), "t.dmn", FILES)


def test_rows_of_one_rule_that_disagree_are_refused(text: str) -> None:
    old = row(text, "made-up")
    more = re.sub(r' id="[^"]*"', "", old).replace("<text>333</text>", "<text>334</text>")
    with pytest.raises(InputError, match="differ in priority or outcome"):
        import_tables(text.replace(old, old + more).encode(), "t.dmn", FILES)


def test_an_edited_reason_and_urgency_come_in(text: str) -> None:
    old = row(text, "made-up")
    new = old.replace("Text, with {fill_level} &amp; &lt;more&gt;.", "Another text.")
    new = re.sub(r"<annotationEntry>\s*<text(/>|></text>)", "<annotationEntry><text>2</text>", new, count=1)
    found = import_tables(text.replace(old, new).encode(), "t.dmn", FILES)
    rule = found.rulebook.policy["made-up"]
    assert (rule.text, rule.visit_priority) == ("Another text.", 2)


def test_columns_in_another_order_are_no_change() -> None:
    rows = [{"when": {"fill_level": "> 5", "cord_damaged": True}, "then": {"amount": 5}}]
    table = {
        "id": "two",
        "title": "Two",
        "kind": "nte",
        "hit_policy": "FIRST",
        "inputs": ["fill_level", "cord_damaged"],
        "outputs": ["amount"],
        "rows": rows,
        "source": "for tests",
    }
    files = {**BASE, "limits/two.yml": table}
    out = written(files, "two")
    for tag in ("input", "inputEntry"):
        both = re.findall(rf"\s*<{tag} .*?</{tag}>", out, flags=re.DOTALL)
        assert len(both) == 2
        out = out.replace(both[0] + both[1], both[1] + both[0])
    assert out.index("cord_damaged</text>") < out.index("fill_level</text>")
    assert import_tables(out.encode(), "t.dmn", files).changed == {}


@pytest.mark.parametrize(
    ("expression", "cell", "message"),
    [
        ("fill_level != null", "false", "cannot ask whether fill_level is known"),
        ("fill_level", "> 7", "fill_level is tested twice"),
    ],
)
def test_a_limit_row_asks_one_thing_of_each_fact(expression: str, cell: str, message: str) -> None:
    table = {
        "id": "one",
        "title": "One",
        "kind": "nte",
        "hit_policy": "FIRST",
        "inputs": ["fill_level", "cord_damaged"],
        "outputs": ["amount"],
        "rows": [{"when": {"fill_level": "> 5", "cord_damaged": True}, "then": {"amount": 5}}],
        "source": "for tests",
    }
    out = written({**BASE, "limits/one.yml": table}, "one")
    out = out.replace("<text>cord_damaged</text>", f"<text>{expression}</text>")
    out = out.replace("<text>true</text>", f"<text>{cell.replace('>', '&gt;')}</text>")
    with pytest.raises(InputError, match=message):
        import_tables(out.encode(), "t.dmn", BASE)


def test_a_rule_of_too_many_rows_is_told_by_its_file() -> None:
    names = ["fill_level", "checks_tried", "age_months", "top_chance", "plan_cost", "nte", "headroom"]
    wide: dict[str, object] = {"none_of": [{"none_of": [{name: 1}, {name: 2}]} for name in names]}
    with pytest.raises(RulebookError, match=r"policy/made-up.yml: when: it would fill more than 64 rows"):
        written(with_rule(wide), "policy")
