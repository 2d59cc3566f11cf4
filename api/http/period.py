"""The numbers of a period that a request asks for."""

from __future__ import annotations

from typing import Any

from api.http.auth import programme
from triage.repairs.period import EARLIER, read_period
from triage.repairs.period_numbers import programme_figures


def figures_between(since: str | None, until: str | None) -> dict[str, Any]:
    """The figures of two days' period; InputError for what is no period."""
    served = programme()
    now = served.now()
    period = read_period(since, until, now)
    with served.store.read() as work:
        recorded = work.figures.between(period.since, period.until, EARLIER)
    return programme_figures(recorded, served.rulebook, period, now)
