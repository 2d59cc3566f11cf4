"""What a faulty number or date is told, in the author's words."""

from __future__ import annotations

import pytest

from tests.triage.rulebook.reading.test_reader import changed, problems_of
from tests.triage.services import rulebook_files
from triage.logic.unary_tests import UnaryTestError, parse
from triage.rulebook.reading.reader import plain_sources, rulebook_from_data, rulebook_of_sources
from triage.values.errors import RulebookError
from triage.values.yaml_source import read_yaml


@pytest.mark.parametrize(
    ("written", "wanted"),
    [("400,00", "write 400.00"), ("1.400,50", "write 1400.50"), ("1,400", "write 1400")],
)
def test_a_number_with_a_comma_is_shown_with_a_point(written, wanted):
    (problem,) = problems_of(changed("rulebook.yml", question_worth=written))
    assert wanted in problem.message


def test_a_comma_that_starts_the_next_key_is_told():
    data = read_yaml(b"{title: T, currency: USD, question_worth: 400,00}", "rulebook.yml").data
    found = " ".join(each.message for each in problems_of({"rulebook.yml": data}))
    assert "write it with a point, as 400.00" in found


def test_a_comma_within_a_test_is_told():
    with pytest.raises(UnaryTestError, match=r"write 400\.00"):
        parse("> 400,00", "number")
    assert parse("1,10", "number")


def test_a_date_where_a_number_is_meant_is_shown_as_a_test_writes_it():
    data = read_yaml(b"day: 2027-01-01", "x.yml").data
    assert isinstance(data, dict)
    with pytest.raises(UnaryTestError, match=r'date\("2027-01-01"\)'):
        parse(data["day"], "number")
    with pytest.raises(UnaryTestError, match=r'date\("2027-01-01"\)'):
        parse("> 2027-01-01", "date")


def test_a_comma_in_a_number_and_a_folder_in_the_folder_are_told_once():
    files = rulebook_files()
    limits = next(file for file in files if file.startswith("limits/"))
    nested = {f"rules/{file}": data for file, data in files.items()}
    with pytest.raises(RulebookError) as caught:
        rulebook_from_data({**files, **nested})
    [problem] = caught.value.problems
    assert f'"rules" is not a folder of a rulebook ({len(nested)} files)' in str(problem)
    source = read_yaml(b"rows: [{when: {}, then: {amount: 400,00}}]", limits)
    with pytest.raises(RulebookError) as caught:
        rulebook_of_sources({**plain_sources(files)[0], limits: source}, {})
    said = [str(each) for each in caught.value.problems if "00" in str(each)]
    assert len(said) == 1 and "write it as 400.00" in said[0]
