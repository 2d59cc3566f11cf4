"""A typed number or amount is read as it is meant, or left for the service to refuse."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.pages.bill_form import typed_number
from triage.values.money import typed_amount


@pytest.mark.parametrize(("text", "number"), [("1.5", "1.5"), ("1,5", "1.5"), ("2", "2")])
def test_a_number_may_have_a_comma(text: str, number: str) -> None:
    assert typed_number(text) == Decimal(number)


@pytest.mark.parametrize("text", ["1_0", "１", "٣", "many", "", "NaN", "1e400", "1,2,3"])
def test_what_is_no_number_stays_as_it_was_written(text: str) -> None:
    assert typed_number(text) == text


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("95", "95 USD"),
        ("$ 95.50", "95.50 USD"),
        (" 95.50 USD ", "95.50 USD"),
        ("$1,000.50", "1000.50 USD"),
        ("1,000,000", "1000000 USD"),
        ("95,50", "95,50 USD"),
        ("1,00", "1,00 USD"),
        ("1_000", "1_000 USD"),
        ("１,０００", "１,０００ USD"),
    ],
)
def test_only_commas_between_thousands_are_taken_out_of_an_amount(text: str, amount: str) -> None:
    assert typed_amount(text, "USD") == amount
