from __future__ import annotations

import re
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests import ROOT
from triage.values.errors import Problem, RulebookError
from triage.values.yaml_source import MOST_BYTES, Source, _read_fast, _read_whole, read_yaml


def read(text: str) -> Source:
    return read_yaml(text.encode(), "facts/x.yml")


def problems(text: str | bytes) -> tuple[Problem, ...]:
    with pytest.raises(RulebookError) as caught:
        read_yaml(text.encode() if isinstance(text, str) else text, "facts/x.yml")
    return caught.value.problems


def test_numbers_are_exact_decimals() -> None:
    data = read("a: 0.1\nb: 15\nc: 1e3\nd: -2.50\ne: '3'\n").data
    assert data == {
        "a": Decimal("0.1"),
        "b": Decimal(15),
        "c": Decimal(1000),
        "d": Decimal("-2.50"),
        "e": "3",
    }
    assert isinstance(data, dict)
    assert [type(value) for value in data.values()] == [Decimal] * 4 + [str]


def test_dates_flags_and_nothing_are_read_and_yes_stays_a_word() -> None:
    assert read("a: 2026-01-31\nb: true\nc: null\nd: yes\ne: '2026-01-31'\n").data == {
        "a": date(2026, 1, 31),
        "b": True,
        "c": None,
        "d": "yes",
        "e": "2026-01-31",
    }


def test_every_key_and_value_has_its_line_and_column() -> None:
    source = read('id: x\nwhen:\n  fill: "> 15"\n  list: [a, b]\n')
    assert (source.values["when", "fill"].line, source.values["when", "fill"].column) == (3, 9)
    assert source.values["when", "fill"].text_column == 10
    assert (source.keys["when", "fill"].line, source.keys["when", "fill"].column) == (3, 3)
    assert source.values["when", "list", 1].column == 13


def test_a_text_with_escapes_has_no_column_of_its_own() -> None:
    assert read('a: "b\\tc"\n').values["a",].text_column is None


def test_keys_are_always_text() -> None:
    assert read("1: a\ntrue: b\n2026-01-01: c\n").data == {"1": "a", "true": "b", "2026-01-01": "c"}


def test_a_key_written_twice_is_an_error_at_the_second() -> None:
    (problem,) = problems("id: a\ntitle: b\nid: c\n")
    assert (problem.line, problem.column) == (3, 1)
    assert "twice" in problem.message
    assert "line 1" in problem.message


def test_all_problems_of_the_values_are_listed() -> None:
    found = problems("a: .nan\nb: 0x1F\nc: 2026-02-30\nd: !!str x\n")
    assert [problem.line for problem in found] == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("text", "line", "part"),
    [
        ("id: a\n\ttitle: b\n", 2, "tab"),
        ("when:\n  seal: 'a','b'\n", 2, "quotes around the whole"),
        ('when:\n  seal: "a","b"\n', 2, "quotes around the whole"),
        ("when:\n  fill: [2..6\n", 3, "broken YAML"),
        ("when:\n  fill: > 15\n", 2, "needs quotes"),
        ("when:\n  fill: ]2..6[\n", 2, "needs quotes"),
        ("when:\n  fill: -\n", 2, "needs quotes"),
        ('when:\n  built: @"2026-01-01"\n', 2, "needs quotes"),
        ("id: 'a\n", 2, "broken YAML"),
        ("a: &x 1\nb: *x\n", 2, "aliases"),
        ("a: 1\n---\nb: 2\n", 2, "one document"),
        ("a: 1\nb: x\0y\n", 2, "control character"),
        ('a: "\\ud800"\n', 1, "half a character"),
        ("? [a, b]\n: c\n", 1, "a key is a word"),
        ("a: 1e999999999\n", 1, "between 1e-30 and 1e30"),
        ("a: " + "1" * 29 + "\n", 1, "28 digits"),
    ],
)
def test_what_cannot_be_used_is_located_and_explained(text: str, line: int, part: str) -> None:
    found = problems(text)
    assert any(problem.line == line and part in problem.message for problem in found), found


def test_a_bomb_of_aliases_is_refused_before_it_unfolds() -> None:
    layers = ["a0: &a0 [x, x]"] + [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 12)]
    assert any("aliases" in problem.message for problem in problems("\n".join(layers)))


def test_deep_nesting_is_refused_without_recursion() -> None:
    assert any("nested" in problem.message for problem in problems("[" * 20_000))


def test_a_huge_file_is_refused_unread() -> None:
    (problem,) = problems(b"a: " + b"x" * MOST_BYTES)
    assert "at most" in problem.message


def test_a_file_that_is_not_utf_8_is_refused_with_its_line() -> None:
    (problem,) = problems(b"a: b\nc: \xff\n")
    assert problem.line == 2


def test_an_empty_file_holds_nothing() -> None:
    assert read("# only a comment\n").data is None


@given(st.text() | st.text(alphabet="ab:-[]{}\"'#&*!|>%@`,? \n\t015."))
@settings(deadline=None, derandomize=True, max_examples=400)
def test_any_text_is_read_or_refused_with_a_place(text: str) -> None:
    try:
        read_yaml(text.encode("utf-8", "replace"), "x.yml")
    except RulebookError as error:
        assert error.problems
        assert all(problem.line and problem.column and problem.message for problem in error.problems)


@given(st.binary())
@settings(deadline=None, derandomize=True)
def test_any_bytes_are_read_or_refused(content: bytes) -> None:
    try:
        read_yaml(content, "x.yml")
    except RulebookError as error:
        assert re.match(r"x\.yml(:\d+:\d+)?: ", str(error))


def test_a_comment_behind_a_key_whose_text_follows_below_is_read() -> None:
    content = b"title: # as the contractor calls it\n  Machine tilted back\n\ncomponent: machine\n"
    assert read_yaml(content, "causes/x.yml").data == {"title": "Machine tilted back", "component": "machine"}


def test_whatever_the_parser_raises_is_a_finding_in_its_file(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise NotImplementedError

    monkeypatch.setattr("triage.values.yaml_source._Reader._scalar", broken)
    with pytest.raises(RulebookError) as caught:
        read_yaml(b"a:\n  b: 1\n", "causes/x.yml")
    (problem,) = caught.value.problems
    assert (problem.file, problem.line) == ("causes/x.yml", 1)
    assert "NotImplementedError" in problem.message


def test_both_parsers_read_the_rulebook_alike() -> None:
    files = sorted((ROOT / "rules").rglob("*.yml"))
    fast = 0
    for path in files:
        text = path.read_text(encoding="utf-8")
        found = _read_fast(text, path.name)
        fast += found is not None
        assert found in (None, _read_whole(text, path.name)), path
    assert fast > 0.95 * len(files)


LINES = (
    "a: 1",
    "- b",
    "  c: 'x'",
    "? d",
    '"e": "\\n"',
    "f: [1, {g: h}]",
    "i: >",
    "  j k",
    "---",
    "# l",
    "m: n #o",
)


@given(
    st.text(alphabet="ab:-[]{}\"'#&*!|>%@`,? \n015.~\u00e9\u0085\u2028\U0001f9ca")
    | st.lists(st.sampled_from(LINES), max_size=6).map("\n".join)
    | st.builds(
        lambda text, at, mark: text[:at] + mark + text[at:],
        st.lists(st.sampled_from(LINES), min_size=1, max_size=4).map("\n".join),
        st.integers(0, 40),
        st.sampled_from(":-[]{}\"'#&*!|>%@`,? \n"),
    )
)
@settings(deadline=None, derandomize=True, max_examples=1500)
def test_what_the_fast_parser_reads_the_other_reads_alike(text: str) -> None:
    found = _read_fast(text, "x.yml")
    if found is not None:
        other = _read_whole(text, "x.yml")
        assert (other.data, set(other.values), other.keys) == (found.data, set(found.values), found.keys)
