"""Numbers and amounts as people type them; what is none stays as written, for the service to say why."""

from __future__ import annotations

import re
from decimal import Decimal

from triage.values.plain_data import exact_number

_THOUSANDS = re.compile(r"[0-9]{1,3}(,[0-9]{3})+(\.[0-9]+)?")


def typed_number(text: str) -> Decimal | str:
    """A number, "1.5" or "1,5"; other text as it is."""
    try:
        found = exact_number(text.replace(",", "."))
    except ValueError:
        return text
    return found


def typed_amount(text: str, currency: str) -> str:
    """An amount with its currency, which need not be typed: "$1,000.50" is "1000.50 USD".

    A comma that does not part thousands stays: nobody knows whether "95,50" is meant as 95.50 or as 9550.
    """
    text = text.strip().removeprefix("$").strip().removesuffix(currency).strip()
    plain = text.replace(",", "") if _THOUSANDS.fullmatch(text) else text
    return f"{plain} {currency}"
