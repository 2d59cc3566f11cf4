from __future__ import annotations

from decimal import Decimal

import pytest

from tests.triage.payloads import usd
from triage.values.errors import InputError
from triage.values.money import parse_money


@pytest.mark.parametrize("text", ["350", "350.00", "350.00 USD", " 350.00  USD ", Decimal("350.00"), 350])
def test_an_amount_is_a_number_with_or_without_its_currency(text: object) -> None:
    assert parse_money(text, "USD") == usd(350)


@pytest.mark.parametrize(
    "text",
    [
        *(
            "1_000.00 USD",
            "１000.00 USD",
            "٣.00 USD",
            "1,000.00 USD",
            "1e3 USD",
            "1E+3",
            Decimal("1E+3"),
            "5.00\u3000USD",
            "5.00\u00a0USD",
        ),
        *("", "USD", "NaN USD", "inf", "5.001 USD", "0.009", "5.00 EUR", None, 5.5, True),
    ],
)
def test_what_is_no_plain_amount_is_refused(text: object) -> None:
    with pytest.raises(InputError):
        parse_money(text, "USD")
