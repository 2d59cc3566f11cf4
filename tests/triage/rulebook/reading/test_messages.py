"""What a faulty number or date is told, in the author's words."""

from __future__ import annotations

import pytest

from tests.triage.rulebook.reading.test_reader import changed, problems_of
from triage.logic.unary_tests import UnaryTestError, parse
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
