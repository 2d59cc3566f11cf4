"""Changes between two rulebooks, in words."""

from __future__ import annotations

from decimal import Decimal

import pytest

from tests import RULES
from tests.triage.builders import evidence, minimal_files
from triage.rulebook.reading.reader import rulebook_files_data
from triage.rulebook_care.book.difference import differences


def changed(file, change):
    """The words for a change to one file of the minimal rulebook."""
    before, after = minimal_files(), minimal_files()
    change(after[file])
    return [each.words for each in differences(before, after)]


def put(*path_and_value):
    *path, last, value = path_and_value

    def change(data):
        for part in path:
            data = data[part]
        data[last] = value

    return change


@pytest.mark.parametrize(
    ("file", "change", "words"),
    [
        ("evidence/filter-overdue.yml", put("then", "seen_with", "dirty_filter", Decimal("0.85")),
         "seen with dirty filter: 0.8 → 0.85"),
        ("evidence/filter-overdue.yml", put("then", "seen_with", "others", 0.25),
         "seen with any other cause: 0.3 → 0.25"),
        ("evidence/filter-overdue.yml", put("then", "seen_with", "low_fill", 0.5),
         "seen with low fill: 0.5 is new"),
        ("evidence/filter-overdue.yml", put("status", "retired"), "is retired"),
        ("evidence/fill-half.yml", put("when", "fill_level", "[20..60)"),
         "when fill level: “[20..50)” → “[20..60)”"),
        ("evidence/fill-half.yml", put("band", 3), "band: 2 → 3"),
        ("checks/rinse-filter.yml", put("resolves", "dirty_filter", 0.9), "fixes dirty filter: 0.85 → 0.9"),
        ("checks/rinse-filter.yml", put("steps", ["Do it.", "Look twice."]),
         "steps: “Look again.” → “Look twice.”"),
        ("checks/rinse-filter.yml", put("steps", ["Look again.", "Do it."]),
         "steps: the order is now “Look again.”, “Do it.”"),
        ("checks/rinse-filter.yml", put("cautions", []), "cautions: “unplug-first” is taken out"),
        ("symptoms/not_freezing.yml", put("shares", "low_fill", 20), "calls that end with low fill: 14 → 20"),
        ("limits/standing.yml", put("rows", 0, "then", "amount", 400), "row 1, amount: 350 → 400"),
        ("derive/filter-neglected.yml", put("then", "set", "filter_neglected", False),
         "sets filter neglected: yes → no"),
        ("policy/cord-dispatch.yml", put("then", "priority", 950), "priority: 900 → 950"),
        ("rates.yml", put("default", "trip", 99), "default, trip: 95 → 99"),
        ("cautions/damaged-cord.yml", put("when", "any_of", [{"fill_level": 3}]),
         "when any of: [{fill_level: 3}] is new"),
    ],
)  # fmt: skip
def test_a_change_is_said_in_the_words_of_the_trade(file, change, words):
    assert changed(file, change) == [words]


def test_trailing_zeros_are_shown_as_they_are_written():
    before, after = minimal_files(), minimal_files()
    before["evidence/filter-overdue.yml"]["then"]["seen_with"]["dirty_filter"] = Decimal("0.80")
    after["evidence/filter-overdue.yml"]["then"]["seen_with"]["dirty_filter"] = Decimal("0.85")
    (change,) = differences(before, after)
    assert str(change) == "evidence/filter-overdue.yml: Filter overdue: seen with dirty filter: 0.80 → 0.85"
    assert change.path == ("then", "seen_with", "dirty_filter")


def test_spelling_and_order_are_no_change():
    before, after = minimal_files(), minimal_files()
    rule = after["evidence/filter-overdue.yml"]
    rule["then"]["seen_with"] = {"others": Decimal("0.300"), "dirty_filter": Decimal("0.8000")}
    after["evidence/filter-overdue.yml"] = dict(reversed(rule.items()))
    assert differences(before, after) == ()


def test_new_files_and_files_taken_out_are_named_by_what_they_are():
    rule = evidence("hot", {"fill_level": 3}, {"fill_level": 3}, {}, {"low_fill": 0.4, "others": 0.2})
    after = minimal_files({"evidence/hot.yml": {**rule, "status": "draft"}, "checks/fill-hopper.yml": None})
    assert [(each.file, each.what, each.words) for each in differences(minimal_files(), after)] == [
        ("checks/fill-hopper.yml", "removed", "the check is taken out"),
        ("evidence/hot.yml", "added", "new evidence rule (draft)"),
    ]


def test_there_and_back_tells_of_the_same_places():
    before = minimal_files()
    after = minimal_files({"checks/fill-hopper.yml": None, "facts/hums.yml": {"id": "hums", "title": "Hums"}})
    after["rates.yml"]["default"]["trip"] = 12
    there, back = differences(before, after), differences(after, before)
    assert [(each.file, each.path) for each in there] == [(each.file, each.path) for each in back]


def test_the_default_rulebook_does_not_differ_from_itself():
    files = rulebook_files_data(RULES)
    assert differences(files, files) == ()
