"""DMN of this program and of others, back into rulebook files."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from tests import RULES
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook, read_with_files, rulebook_from_data
from triage.rulebook.validity import Validity
from triage.rulebook_care.book.difference import differences
from triage.rulebook_care.dmn.exporting import export_model
from triage.rulebook_care.dmn.importing import Imported, import_tables
from triage.rulebook_care.dmn.table import DMN_13, DMN_15
from triage.rulebook_care.dmn.write import write_model
from triage.rulebook_care.editing.files import WorkFolder
from triage.rulebook_care.editing.saving import save_changed
from triage.values.errors import InputError


@pytest.fixture(scope="module")
def full() -> tuple[Rulebook, dict[str, object]]:
    rulebook, files = read_with_files(RULES)
    return rulebook, dict(files)


@pytest.fixture(scope="module")
def default(full: tuple[Rulebook, dict[str, object]]) -> tuple[Rulebook, dict[str, object]]:
    """The default rulebook without what no table looks at, which is quicker to read."""
    files = {path: data for path, data in full[1].items() if not path.startswith(("cases/", "evidence/"))}
    return rulebook_from_data(files), files


@pytest.fixture(scope="module")
def whole(default: tuple[Rulebook, dict[str, object]]) -> str:
    return write_model(export_model(*default)).decode()


@pytest.fixture
def take(default: tuple[Rulebook, dict[str, object]]) -> Callable[[str], Imported]:
    return lambda text: import_tables(text.encode(), "tables.dmn", default[1])


def words(default: tuple[Rulebook, dict[str, object]], found: Imported) -> list[str]:
    return [str(change) for change in differences(default[1], found.files)]


def without_extension(text: str) -> str:
    return re.sub(r"\s*<bw:file.*?</bw:file>", "", text, flags=re.DOTALL)


def edited(text: str, before: str, after: str, times: int = 1) -> str:
    assert text.count(before) >= 1, before
    return text.replace(before, after, times)


Default = tuple[Rulebook, dict[str, object]]
Take = Callable[[str], Imported]


def test_the_default_rulebook_comes_back_as_the_very_same_version(full: Default) -> None:
    found = import_tables(write_model(export_model(*full)), "tables.dmn", full[1])
    assert (found.rulebook.version, found.changed) == (full[0].version, {})


def test_rows_with_days_go_out_and_come_back_and_are_edited_as_days(default: Default) -> None:
    files = dict(default[1])
    nte = files["limits/nte.yml"]
    assert isinstance(nte, dict)
    first, last = date(2027, 1, 1), date(2027, 12, 31)
    spans: list[dict[str, object]] = [
        {"valid_to": date(2026, 12, 31)},
        {"valid_from": first, "valid_to": last},
        {"valid_from": date(2028, 1, 1)},
    ]
    rows = [*nte["rows"][:-1], *({**nte["rows"][-1], **days} for days in spans)]
    files["limits/nte.yml"] = {**nte, "rows": rows}
    rulebook = rulebook_from_data(files)
    text = write_model(export_model(rulebook, files)).decode()

    for given in (text, without_extension(text)):
        assert import_tables(given.encode(), "tables.dmn", files).rulebook.version == rulebook.version
    later = edited(text, '2028-01-01")</text>', '2028-02-01")</text>')
    changed = import_tables(later.encode(), "tables.dmn", files)
    days = [row.valid for row in changed.rulebook.limits["nte"].rows[-3:]]
    assert days[1:] == [Validity(first, last), Validity(valid_from=date(2028, 2, 1))]
    (said,) = differences(files, changed.files)
    assert "2028-02-01" in said.words
    strange = edited(text, '<text>&gt;= date("2028-01-01")</text>', '<text>not(date("2028-01-01"))</text>')
    with pytest.raises(InputError, match="limit_day takes"):
        import_tables(strange.encode(), "tables.dmn", files)


def test_a_rulebook_without_policy_gets_all_of_it_from_the_file(default: Default, whole: str) -> None:
    bare = {path: data for path, data in default[1].items() if not path.startswith("policy/")}
    found = import_tables(whole.encode(), "tables.dmn", bare)
    assert found.rulebook.version == default[0].version
    assert len(found.changed) == len(default[0].policy)


def test_without_the_extension_the_rulebooks_files_say_what_the_table_does_not(
    default: Default, whole: str, take: Take
) -> None:
    found = take(without_extension(whole))
    assert (found.rulebook.version, found.changed) == (default[0].version, {})


def test_an_amount_changed_by_another_tool_wins_over_the_extension(
    default: Default, whole: str, take: Take
) -> None:
    found = take(edited(whole, "<text>400</text>", "<text>425.50</text>"))
    assert words(default, found) == ["limits/nte.yml: Not to exceed: row 1, amount: 400.00 → 425.50"]


def test_a_test_changed_in_the_policy_wins_over_the_raw_condition(
    default: Default, whole: str, take: Take
) -> None:
    found = take(edited(whole, "<text>[2..3]</text>", "<text>[2..5]</text>"))
    assert words(default, found) == [
        "policy/came-back.yml: It came back: when repeat visits 90 days: “[2..3]” → “[2..5]”"
    ]


def test_other_prefixes_line_breaks_spaces_and_the_older_namespace_are_no_change(
    whole: str, take: Take
) -> None:
    other = re.sub(r"<(/?)(?=[a-zA-Z])(?!bw:)", r"<\1d:", whole).replace("xmlns=", "xmlns:d=")
    other = other.replace(DMN_15, DMN_13).replace('","', '" ,\n "').replace("<d:text>", "<d:text>  ")
    assert "<d:decisionTable" in other
    assert take(other).changed == {}


def test_only_files_that_changed_are_written_and_their_other_lines_stay(
    tmp_path: Path, whole: str, full: Default
) -> None:
    folder = tmp_path / "rules"
    shutil.copytree(RULES, folder)
    for path in folder.rglob("*.yml"):
        path.chmod(0o644)
    text = edited(whole, "<text>400</text>", "<text>425</text>")
    found = import_tables(text.encode(), "tables.dmn", full[1])
    save_changed(WorkFolder(folder), found.changed)
    for path in sorted(RULES.rglob("*.yml")):
        name = path.relative_to(RULES)
        wanted = path.read_text()
        if name.as_posix() == "limits/nte.yml":
            wanted = wanted.replace("amount: 400.00", "amount: 425.00", 1)
        assert (folder / name).read_text() == wanted, name
    assert read_rulebook(folder).version == found.rulebook.version


def problems(take: Take, text: str) -> list[str]:
    with pytest.raises(InputError) as error:
        take(text)
    return [str(problem) for problem in error.value.problems]


def line_of(text: str, part: str) -> int:
    return text[: text.index(part)].count("\n") + 1


def test_a_document_type_is_refused_before_it_can_pull_anything_in(take: Take, whole: str) -> None:
    laughs = '<!DOCTYPE d [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>\n'
    outside = '<!-- hello -->\n<!DOCTYPE d SYSTEM "file:///etc/passwd">\n'
    for doctype in (laughs, outside):
        text = whole.replace("?>\n", f"?>\n{doctype}", 1).replace("<text>400", "<text>&b;400", 1)
        assert [line.partition(" (")[0] for line in problems(take, text)] == ["tables.dmn:1: a document type"]


def test_a_document_type_in_another_encoding_is_refused_too(default: Default) -> None:
    text = f'<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE d><definitions xmlns="{DMN_15}"/>'
    with pytest.raises(InputError, match="a document type"):
        import_tables(text.encode("utf-16"), "tables.dmn", default[1])


def test_what_is_no_xml_or_no_dmn_or_too_big_is_refused(default: Default, take: Take) -> None:
    assert problems(take, "<a><b></a>")[0].startswith("tables.dmn:1: this is not XML that can be read")
    assert problems(take, "")[0].startswith("tables.dmn:1: this is not XML that can be read")
    assert "no DMN of version 1.3" in problems(take, "<definitions/>")[0]
    with pytest.raises(InputError, match="larger than 8,388,608 bytes"):
        import_tables(b" " * (8 * 1024 * 1024 + 1), "tables.dmn", default[1])


def test_another_currency_is_refused_with_the_line_of_its_first_amount(take: Take, whole: str) -> None:
    text = whole.replace("amount_USD", "amount_EUR")
    line = line_of(text, '<inputExpression id="limits.authority.in.1.expression" typeRef="amount_EUR"')
    assert problems(take, text) == [
        f"tables.dmn:{line}: amounts here are in EUR, this rulebook's in USD; convert them"
    ]


@pytest.mark.parametrize(
    ("before", "after", "at", "message"),
    [
        ('hitPolicy="UNIQUE"', 'hitPolicy="ANY"', 'hitPolicy="ANY"', 'hit policy "ANY" is not read'),
        ("<text>(600..1500]", "<text>amount * 2", "amount * 2", "amount: "),
        ("<text>contractor</text>", "<text>upper(x)</text>", "upper(x)", "is not read; write a fact"),
        ("<text>contractor</text>", "<text>contracter</text>", "contracter<", 'no fact "contracter"'),
        ("<text>550</text>", "<text>sum(1)</text>", "sum(1)", "amount: "),
        ("<text>550</text>", "<text></text>", None, "amount: the cell is empty"),
        ('<text>"desk_lead"</text>', '<text>"desk_leed"</text>', None, 'no authority "desk_leed"'),
        ("<text>[2..3]", "<text>[3..2]", "[3..2]", "nothing lies in this interval"),
        ('<text>"came-back"</text>', '<text>"Came back"</text>', None, "cannot be an id"),
    ],
)
def test_what_lies_outside_the_subset_is_refused_with_its_line(
    take: Take, whole: str, before: str, after: str, at: str | None, message: str
) -> None:
    text = edited(whole, before, after)
    found = problems(take, text)
    assert len(found) == 1
    assert message in found[0]
    line = int(found[0].split(":")[1])
    if at is not None:
        assert at in text.splitlines()[line - 1]
    else:
        assert line > 1


def test_all_problems_are_told_at_once(take: Take, whole: str) -> None:
    text = edited(whole, "<text>550</text>", "<text>x y</text>")
    text = edited(text, "<text>[2..3]", "<text>between")
    assert len(problems(take, text)) == 2


def test_a_type_that_is_made_of_a_foreign_amount_is_refused_too(take: Take, whole: str) -> None:
    money = '<itemDefinition name="money"><typeRef>amount_CAD</typeRef></itemDefinition>\n  <itemDefinition'
    text = whole.replace("<itemDefinition", money, 1)
    text = text.replace(
        'name="amount" typeRef="amount_USD"/>\n      <rule', 'name="amount" typeRef="money"/>\n      <rule'
    )
    assert "amounts here are in CAD" in problems(take, text)[0]


@pytest.mark.parametrize(
    ("before", "after", "at"),
    [
        ("contractor != null", "contractor = null", None),
        ('satisfies s in ("leaking","leaking_behind_hopper")', 'satisfies (s in ["leaking"])', "s in ["),
    ],
)
def test_other_ways_to_say_it_are_read_or_refused(
    take: Take, whole: str, before: str, after: str, at: str | None
) -> None:
    text = edited(whole, before, after)
    if at is None:
        assert "cannot ask whether contractor is known" in problems(take, text)[0]
    else:
        assert [line.partition(": ")[0] for line in problems(take, text)] == [
            f"tables.dmn:{line_of(text, at)}"
        ]


def test_list_contains_is_read_as_naming_one_symptom(default: Default, whole: str, take: Take) -> None:
    before = 'some s in symptom satisfies s in ("leaking","leaking_behind_hopper")'
    found = take(edited(whole, before, 'list contains(symptom, "leaking")'))
    assert words(default, found) == [
        "policy/leak-at-once.yml: Leak, highest priority: when symptom: "
        '“"leaking","leaking_behind_hopper"” → “"leaking"”'
    ]


def test_a_deeply_nested_file_is_refused(take: Take) -> None:
    found = problems(take, f'<definitions xmlns="{DMN_15}">' + "<a>" * 5000)
    assert found[0].startswith("tables.dmn:1: this is not XML that can be read")


def test_a_table_copied_under_another_name_is_a_new_one_and_one_of_no_usable_name_keeps_its_own(
    default: Default, whole: str, take: Take
) -> None:
    found = re.search(r'  <decision id="limits\.nte".*?</decision>\n', whole, flags=re.DOTALL)
    assert found is not None
    copy = re.sub(r' id="[^"]*"', "", found[0]).replace('name="nte"', 'name="Nte  two"', 1)
    assert words(default, take(edited(whole, found[0], found[0] + copy))) == [
        "limits/nte_two.yml: Not to exceed: new limit table"
    ]
    renamed = found[0].replace('name="nte"', 'name="Höchstbetrag"', 1)
    assert take(edited(whole, found[0], renamed)).changed == {}
    assert "cannot be an id" in problems(take, edited(whole, found[0], without_extension(renamed)))[0]


def test_more_rows_than_a_file_could_hold_are_refused(take: Take, whole: str) -> None:
    found = re.search(r"      <rule .*?</rule>\n", whole, flags=re.DOTALL)
    assert found is not None
    rows = re.sub(r' id="[^"]*"', "", found[0]) * 5000
    text = edited(whole, found[0], found[0] + rows)
    assert "the table has 5,003 rows; at most 5,000 are read" in problems(take, text)[0]
