"""How a machine's value falls, and which cause keeps coming back."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from functools import lru_cache

from triage.records.report import PastRepair
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


def visits_for(repairs: Iterable[PastRepair], cause: str, now: datetime, days: int) -> int:
    """Closed visits of the last `days` (24 h each) up to `now` whose confirmed cause was `cause`."""
    since = now - timedelta(days=days)
    return sum(repair.cause == cause and since < repair.at <= now for repair in repairs)


def most_repeated_cause(repairs: Iterable[PastRepair], now: datetime, days: int) -> tuple[str, int] | None:
    """The cause confirmed most often in the last `days` and how often; None unless one came twice.

    Of causes that came equally often the one in alphabetical order counts. Visits that found no fault do not.
    """
    log = tuple(repairs)
    causes = sorted({repair.cause for repair in log if repair.cause is not None})
    counted = [(cause, visits_for(log, cause, now, days)) for cause in causes]
    most = max(counted, key=lambda pair: pair[1], default=None)
    return most if most is not None and most[1] >= 2 else None
