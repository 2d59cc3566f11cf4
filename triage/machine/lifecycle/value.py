"""How a machine's value falls."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache

from triage.values.errors import InputError


def values_ahead(value: Decimal, years: int, yearly_drop: Decimal) -> tuple[Decimal, ...]:
    """`value` after 1, 2 … `years`, falling by the share `yearly_drop` (0.20 for 20 %) a year; not rounded.

    Declining balance; which share fits is our estimate.
    """
    if not 0 <= yearly_drop < 1 or years < 0 or value < 0:
        raise InputError("a value falls by a share from 0 to below 1 a year; value and years are not below 0")
    return tuple(value * share for share in _shares_left(yearly_drop, years))


@lru_cache(maxsize=256)
def _shares_left(yearly_drop: Decimal, years: int) -> tuple[Decimal, ...]:
    return tuple((1 - yearly_drop) ** year for year in range(1, years + 1))
