"""A form shows all that a file says: sent back as it was shown, it changes nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests import RULES
from triage.logic.unary_tests import parse
from triage.rulebook.model import Fact
from triage.rulebook.reading.reader import rulebook_files_data
from triage.rulebook_care.forms.form import Sheet, form_of, text_of
from triage.rulebook_care.forms.layout import parts_of
from triage.rulebook_care.forms.parts import Field, Part, Table, When
from triage.rulebook_care.forms.reading import filled
from triage.rulebook_care.forms.sheets import as_csv, as_xlsx, read_sheet
from triage.rulebook_care.forms.unary import as_cell, asked_of, from_cell, put_together, taken_apart
from triage.rulebook_care.forms.vocabulary import vocabulary
from triage.values.plain_data import canonical

FILES = rulebook_files_data(RULES)
WORDS = vocabulary(FILES)
KINDS = sorted({file.rpartition("/")[0] or file for file in FILES})


def sent_back(parts: Iterable[Part]) -> dict[str, list[str]]:
    sent: dict[str, list[str]] = {}

    def add(when: When) -> None:
        sent[when.name] = ["1"]
        for number, line in enumerate(when.lines):
            start = f"{when.name}|{number}|"
            sent[f"{start}fact"], sent[f"{start}asked"] = [line.fact], [line.asked]
            sent[f"{start}values"] = [line.values]
        for _, inside in when.groups:
            for each in inside:
                add(each)

    for part in parts:
        if isinstance(part, Field):
            sent[part.name] = [part.text]
        elif isinstance(part, Table):
            sent[part.name] = ["1"]
            for number, row in enumerate(part.rows):
                sent[f"{part.name}|{number}|from"] = [row.name]
                sent |= {f"{part.name}|{number}|{index}": [text] for index, text in enumerate(row.texts)}
        else:
            add(part)
    return sent


@pytest.mark.parametrize("kind", KINDS)
def test_every_file_of_the_default_rulebook_comes_back_as_it_is(kind: str) -> None:
    for file, data in FILES.items():
        if (file.rpartition("/")[0] or file) == kind:
            assert isinstance(data, dict)
            parts = parts_of(file, data, WORDS)
            made, problems = filled(data, parts, sent_back(parts), WORDS, file)
            assert problems == []
            assert canonical(made) == canonical(data), file


@pytest.mark.parametrize(
    "file", ["parts.yml", "rates.yml", "limits/nte.yml", "symptoms/leaking.yml", "models.yml"]
)
def test_a_table_comes_back_from_csv_and_xlsx_as_it_went_out(file: str) -> None:
    text = (RULES / file).read_text()
    for table in form_of(file, text, WORDS):
        if isinstance(table, Table) and table.rows:
            for name, content in (("a.csv", as_csv(table)), ("a.xlsx", as_xlsx(table))):
                sheet = Sheet(table.name, read_sheet(name, content), True)
                assert text_of(file, text, {}, WORDS, [sheet]) == (text, [])


def test_agreements_have_rows_of_their_own_and_bands_a_table_beside() -> None:
    text = (RULES / "rates.yml").read_text()
    tables = {part.name: part for part in form_of("rates.yml", text, WORDS) if isinstance(part, Table)}
    bands = tables["/contractors/*/distance_bands/*"]
    assert [column.title for column in bands.all_columns] == ["Contractor", "Up to km", "Fee"]
    sheet = Sheet(bands.name, [["brightwater", "400", "95.00"]], False)
    made, problems = text_of("rates.yml", text, {}, WORDS, [sheet])
    assert problems == []
    assert made == text.replace(
        "      - {up_to_km: 250, fee: 75.00}\n",
        "      - {up_to_km: 250, fee: 75.00}\n      - {up_to_km: 400, fee: 95.00}\n",
    )
    gone = Sheet("/contractors/*", [["Contractor"], ["nobody"]], True)
    left, _ = text_of("rates.yml", text, {}, WORDS, [gone])
    assert "brightwater" not in left
    assert "fogline" not in left
    assert "# What a visit costs" in left


FACTS: Mapping[str, Fact] = {
    "number": Fact("n", "N", "number", "clerk"),
    "text": Fact("t", "T", "text", "clerk"),
    "flag": Fact("f", "F", "flag", "clerk"),
    "date": Fact("d", "D", "date", "clerk"),
}
TESTS = {
    "number": [Decimal(15), "> 15", "<= 3.50", "[2..6]", "(15..30]", "]15..30[", "1,2,3", "not(1,2)", "-"],
    "text": ["abc", '"a b"', '"a","b"', 'not("a")', 'not("a","b")', '"a, b","c"', "-"],
    "flag": [True, False, "-"],
    "date": ['@"2027-01-01"', 'date("2027-01-01")', '>= @"2027-01-01"', '[@"2027-01-01"..@"2027-02-01"]'],
}


@pytest.mark.parametrize(("kind", "raw"), [(kind, raw) for kind, tests in TESTS.items() for raw in tests])
def test_a_test_means_the_same_taken_apart_and_put_together(kind: str, raw: object) -> None:
    fact = FACTS[kind]
    wanted = parse(raw, fact.type)
    asked, values = taken_apart(fact, raw)
    assert asked in asked_of(fact)
    assert parse(put_together(fact, asked, values), fact.type) == wanted
    assert parse(from_cell(fact, as_cell(fact, raw)), fact.type) == wanted


def test_a_fact_just_chosen_asks_for_what_fits_its_type() -> None:
    assert put_together(FACTS["flag"], "is", "") is True
    for kind, asked in (("text", "one_of"), ("number", "is")):
        raw = put_together(FACTS[kind], "is", "")
        assert taken_apart(FACTS[kind], raw) == (asked, "")


@given(st.lists(st.text("ab,\"'(-. ", min_size=1, max_size=5), min_size=1, max_size=3))
def test_any_texts_mean_the_same_in_a_cell(texts: list[str]) -> None:
    fact = FACTS["text"]
    raw = ",".join(f'"{text.replace(chr(34), chr(92) + chr(34))}"' for text in texts)
    assert parse(from_cell(fact, as_cell(fact, raw)), "text") == parse(raw, "text")
