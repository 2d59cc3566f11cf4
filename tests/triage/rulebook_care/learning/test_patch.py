"""A proposal changes numbers and nothing else: comments, order, quoting and spacing stay to the letter."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from tests import RULES
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.learning.learning import ClosedTicket, Learned, learn
from triage.rulebook_care.learning.patch import patched_files, unified_diff, with_numbers, write_candidate
from triage.values.errors import InputError

RULE = """\
# Asked on every call.
id: filter-overdue   # the file's name
then:
  seen_with: { dirty_filter: 0.80,  others: .3 }   # 12 of 15 last spring
  "note": 'keep: 0.80'
shares:
  - 1
  low: 5
"""


def test_only_the_numbers_change() -> None:
    changed = with_numbers(
        RULE.replace("  - 1\n", ""),
        {
            ("then", "seen_with", "dirty_filter"): Decimal("0.85"),
            ("then", "seen_with", "others"): Decimal("0.27"),
            ("shares", "low"): Decimal("12.5"),
        },
        "evidence/filter-overdue.yml",
    )
    assert changed == RULE.replace("  - 1\n", "").replace("dirty_filter: 0.80", "dirty_filter: 0.85").replace(
        "others: .3 ", "others: 0.27 "
    ).replace("low: 5", "low: 12.5")


def test_line_ends_and_a_missing_last_one_stay() -> None:
    changed = with_numbers("a: 1 # é\r\nb: 2", {("b",): Decimal("3")}, "x.yml")
    assert changed == "a: 1 # é\r\nb: 3"


@pytest.mark.parametrize("text", ['a: "0.8"', "a: >-\n  0.8\n", "a: [1]"])
def test_what_is_not_a_plain_number_is_left_to_a_person(text: str) -> None:
    with pytest.raises(InputError, match="by hand"):
        with_numbers(text, {("a",): Decimal("0.9")}, "x.yml")


@pytest.fixture(scope="module")
def learned() -> tuple[Learned, ...]:
    tickets = [
        ClosedTicket(("not_freezing",), "dirty_filter", {"filter-overdue": True}, {"rinse-filter": True}),
        ClosedTicket(("not_freezing",), "low_fill", {"filter-overdue": False}, {"rinse-filter": False}),
    ]
    return learn(read_rulebook(RULES), tickets * 40)


def test_the_proposal_for_the_default_rulebook_can_be_read_and_has_the_numbers(
    learned: tuple[Learned, ...], tmp_path: Path
) -> None:
    patched = patched_files(RULES, learned)
    assert {"symptoms/not_freezing.yml", "checks/rinse-filter.yml"} <= set(patched)
    out = tmp_path / "candidate"
    write_candidate(RULES, out, patched)
    candidate = read_rulebook(out)
    for one in learned:
        if one.proposed is not None and one.number.kind == "share":
            assert candidate.symptoms[one.number.of].shares[one.number.cause] == one.proposed
        elif one.proposed is not None and one.number.kind == "cure":
            assert candidate.checks[one.number.of].resolves[one.number.cause] == float(one.proposed)
    unchanged = {path.relative_to(RULES) for path in RULES.rglob("*.yml")} - {Path(file) for file in patched}
    assert all((out / file).read_bytes() == (RULES / file).read_bytes() for file in unchanged)


def test_the_diff_removes_and_adds_only_lines_with_numbers(learned: tuple[Learned, ...]) -> None:
    lines = unified_diff(patched_files(RULES, learned)).splitlines()
    removed = [line for line in lines if line.startswith("-") and not line.startswith("---")]
    added = [line for line in lines if line.startswith("+") and not line.startswith("+++")]
    assert len(removed) == len(added) > 10
    strip = str.maketrans("", "", "0123456789.")
    assert sorted(line[1:].translate(strip) for line in removed) == sorted(
        line[1:].translate(strip) for line in added
    )
    assert "--- a/symptoms/not_freezing.yml" in lines


def test_a_folder_that_is_there_is_never_written_over(learned: tuple[Learned, ...], tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there already"):
        write_candidate(RULES, tmp_path, patched_files(RULES, learned))
    assert list(tmp_path.iterdir()) == []
