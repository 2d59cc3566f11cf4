"""Payloads of events with most of it filled in, for tests that care about a part."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from moneyed import Money

from triage.records.bill import Billed
from triage.records.payloads import Closed, Estimated


def usd(amount: int | str) -> Money:
    return Money(f"{Decimal(amount):.2f}", "USD")


def billed(beyond_warranty: int | str = 120, **more: Any) -> Billed:
    """A bill without its lines, of which warranty pays nothing."""
    whole = usd(beyond_warranty)
    sums: dict[str, Any] = {"total": whole, "claimed": usd(0), "deductible": usd(0)}
    return Billed(**{"lines": (), **sums, "beyond_warranty": whole, **more})


def estimate(beyond_warranty: int | str = 500, revision: int = 1) -> Estimated:
    return Estimated(revision, "other", "cooling", billed(beyond_warranty), "hold", ("It is dear.",))


def close_out(cause: str | None = "dirty_filter", cost: int | str = 120, **more: Any) -> Closed:
    """A close-out after a visit to LH20-1."""
    return Closed(
        **{
            "cause": cause,
            "no_fault_found": cause is None,
            "cured_by": "repair",
            "visited": True,
            "cost": usd(cost),
            "bill": billed(cost),
            "hours": Decimal(1),
            "photos": (),
            "authorization": None,
            "at": datetime(2026, 3, 2, 15, tzinfo=UTC),
            "note": "",
            "comeback_of": None,
            "machine": "LH20-1",
            "model": "LH-20",
            "site": "halt-001",
            "contractor": "fogline",
            **more,
        }
    )
