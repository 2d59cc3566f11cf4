"""The numbers of a period that a request asks for."""

from __future__ import annotations

from typing import Any

from api.http.auth import service
from triage.repairs.period import EARLIER, read_period
from triage.repairs.period_numbers import period_numbers


def numbers_between(since: str | None, until: str | None) -> dict[str, Any]:
    """The numbers of two days' period; InputError for what is no period."""
    served = service()
    now = served.now()
    period = read_period(since, until, now)
    with served.store.read() as work:
        recorded = work.numbers.between(period.since, period.until, EARLIER)
    return period_numbers(recorded, served.rulebook, period, now)
