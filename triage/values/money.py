"""Money: a Decimal with its currency (py-moneyed), and the one rounding rule of the house.

Amounts are rounded half up to the currency's minor unit, once, where a number leaves a calculation: a line of
an estimate, a total, an expected cost that is shown. Nothing is rounded in between.
"""

import re
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache

from moneyed import Money, get_currency

from triage.values.errors import InputError, Problem
from triage.values.plain_data import exact_number

__all__ = ["Money"]

LARGEST_AMOUNT = 12
"""The largest power of ten that an amount can be meant to have."""


@lru_cache(maxsize=16)
def minor_unit(currency: str) -> Decimal:
    """The smallest amount of a currency, such as Decimal("0.01") for USD."""
    return Decimal(1) / Decimal(get_currency(currency).sub_unit)


def round_money(amount: Decimal, currency: str) -> Decimal:
    """`amount` rounded half up to the currency's minor unit."""
    return amount.quantize(minor_unit(currency), rounding=ROUND_HALF_UP)


def as_money(amount: Decimal | float | int, currency: str) -> Money:
    """A rounded Money from a number; floats (expected costs) are taken at their shortest decimal form."""
    exact = Decimal(repr(amount)) if isinstance(amount, float) else Decimal(amount)
    return Money(round_money(exact, currency), currency)


def parse_money(text: object, currency: str, pointer: str = "") -> Money:
    """Reads "350.00" or "350.00 USD", without exponent and in the program's currency; else InputError."""
    parts = (
        [part for part in text.split(" ") if part]
        if isinstance(text, str)
        else [str(text)]
        if isinstance(text, int | Decimal)
        else []
    )
    if len(parts) == 2:
        _refuse_other(parts[1], currency, pointer)
    try:
        amount = exact_number(parts[0]) if len(parts) in (1, 2) and "e" not in parts[0].lower() else None
    except ValueError:
        amount = None
    if amount is None:
        raise InputError([Problem(f'an amount is written as a text such as "350.00 {currency}"', pointer)])
    if amount and not -20 <= amount.adjusted() <= LARGEST_AMOUNT:
        raise InputError([Problem(f"{parts[0][:40]} cannot be meant as an amount; fix it", pointer)])
    if amount != round_money(amount, currency):
        raise InputError([Problem(f"{amount} {currency} has more places than the currency", pointer)])
    return Money(amount, currency)


_THOUSANDS = re.compile(r"-?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]+)?")


def typed_amount(text: str, currency: str) -> str:
    """An amount with its currency, which need not be typed: "$1,000.50" is "1000.50 USD".

    A comma that does not part thousands stays: nobody knows whether "95,50" is meant as 95.50 or as 9550.
    """
    text = text.strip().removeprefix("$").strip().removesuffix(currency).strip()
    plain = text.replace(",", "") if _THOUSANDS.fullmatch(text) else text
    return f"{plain} {currency}"


def _refuse_other(given: str, currency: str, pointer: str = "") -> None:
    if given != currency:
        message = f"the amount is in {given}; this program keeps its books in {currency}"
        raise InputError([Problem(message, pointer)])


def in_currency(value: Money, currency: str) -> Money:
    """The amount itself; InputError where it was written down in another currency than the program's."""
    _refuse_other(value.currency.code, currency)
    return value


def sum_money(amounts: Iterable[Money], currency: str) -> Money:
    """What the amounts come to; InputError as for `in_currency`."""
    return sum((in_currency(each, currency) for each in amounts), as_money(0, currency))


def stored_money(text: str) -> Money:
    """An amount as `money_text` wrote it."""
    amount, currency = text.split()
    return Money(Decimal(amount), currency)


def money_text(value: Money) -> str:
    """The amount as `parse_money` reads it: "312.40 USD"."""
    return f"{value.amount:f} {value.currency.code}"
