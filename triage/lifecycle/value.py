"""What a machine is worth after some time, and what was spent on it by comparison."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal

from triage.errors import InputError
from triage.report import PastRepair


def depreciated_value(price: Decimal, age_years: Decimal, yearly_drop: Decimal) -> Decimal:
    """`price` falling by the share `yearly_drop` (0.20 for 20 %) a year, smoothly within a year; not rounded.

    Declining balance, as in the problems of the published checks; which share fits is our estimate.
    """
    if not 0 <= yearly_drop < 1 or age_years < 0 or price < 0:
        raise InputError("a value falls by a share from 0 to below 1 a year; price and age are not below 0")
    return price * (1 - yearly_drop) ** age_years


def spent_share(spent: Decimal, value: Decimal) -> Decimal | None:
    """What was spent, by what the machine is worth; None for a machine worth nothing."""
    return spent / value if value > 0 else None


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
