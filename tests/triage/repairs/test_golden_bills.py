"""Bills worked out by hand: deductibles, warranty by component, split tax, night work, ends of months.

The agreement: trip 90, distance 45, labor 100 an hour in half hours and at least one, a second technician 70,
1.5 times that after hours, parts with 20 % on top, freight 15, and 8.25 % tax on parts and labor. Service is
from 08:00 to 17:00. The machine was commissioned on 29 February 2024: 12 months of everything end on 28
February 2025, 24 of labor on the compressor on 28 February 2026, 36 of its parts on 28 February 2027. Each
claim has a deductible of 50.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tests.triage.builders import minimal_files
from tests.triage.payloads import usd
from tests.triage.repairs.test_pricing import AGREEMENT, SITE, hours
from triage.records.report import Machine
from triage.repairs.estimate_input import AskedLine
from triage.repairs.pricing import Visit, priced
from triage.rulebook.reading.reader import rulebook_from_data

FILES: dict[str, Any] = minimal_files()
FILES["rates.yml"]["contractors"] = {"fogline": AGREEMENT}
FILES["warranty/standard.yml"]["deductible"] = 50
RULEBOOK = rulebook_from_data(FILES)
MACHINE = Machine("LH20-1", "LH-20", date(2024, 1, 31), date(2024, 2, 29), SITE, "fogline")
TRIP, FAR, FREIGHT = AskedLine("trip"), AskedLine("distance"), AskedLine("freight")
HELPER = AskedLine("second_technician", hours=hours("2").hours)
COMPRESSOR = AskedLine("part", number="COMP-1")
SEALS = AskedLine("part", number="SEAL-1", quantity=3, component="hopper")
LAST_OF_ALL, DAY_AFTER = date(2025, 2, 28), date(2025, 3, 1)
LAST_OF_LABOR, LABOR_OVER = date(2026, 2, 28), date(2026, 3, 1)
LAST_OF_PARTS, PARTS_OVER = date(2027, 2, 28), date(2027, 3, 1)


def at(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 3, 2, hour, minute, tzinfo=ZoneInfo("America/New_York"))  # a Monday


# On the day of the report, for the cause's component, with these lines, from when on:
# total, claimed of warranty, what the service pays.
BILLS: dict[str, tuple[date, str, list[AskedLine], datetime, str, str, str]] = {
    # 90 + 45 + labor 100 + 150 + helper 70 + 105 + 620 × 1.2 = 744 + 15;
    # tax 8.25 % of 250 + 175 + 744 = 1169: 96.44. All of it is claimed but 50.
    "all in warranty on its last day, over the end of service": (
        LAST_OF_LABOR,
        "compressor",
        [TRIP, FAR, hours("2"), HELPER, COMPRESSOR, FREIGHT],
        at(16),
        "1415.44",
        "1365.44",
        "50.00",
    ),
    # The service pays 90 + 45 + 250 + 175 and 8.25 % of 425, 35.06: 595.06, and 50.
    "a day later labor is not": (
        LABOR_OVER,
        "compressor",
        [TRIP, FAR, hours("2"), HELPER, COMPRESSOR, FREIGHT],
        at(16),
        "1415.44",
        "770.38",
        "645.06",
    ),
    # 744 + 15 + 8.25 % of 744, 61.38: 820.38, less 50.
    "parts to the last day": (
        LAST_OF_PARTS,
        "compressor",
        [COMPRESSOR, FREIGHT],
        at(9),
        "820.38",
        "770.38",
        "50.00",
    ),
    "and no longer": (PARTS_OVER, "compressor", [COMPRESSOR, FREIGHT], at(9), "820.38", "0.00", "820.38"),
    # Labor 200, part 744, seals 18.50 × 1.2 × 3 = 66.60; tax 8.25 % of 1010.60: 83.37, of which the service
    # bears that of 66.60: 5.49. It pays 66.60 + 5.49 + 50.
    "a line of another component, out of warranty": (
        LAST_OF_LABOR,
        "compressor",
        [hours("2"), COMPRESSOR, SEALS],
        at(9),
        "1093.97",
        "971.88",
        "122.09",
    ),
    # 90 + 100 + 8.25 = 198.25.
    "everything else ends where February has no 29th": (
        LAST_OF_ALL,
        "hopper",
        [TRIP, hours("1")],
        at(9),
        "198.25",
        "148.25",
        "50.00",
    ),
    "and not on the first of March": (
        DAY_AFTER,
        "hopper",
        [TRIP, hours("1")],
        at(9),
        "198.25",
        "0.00",
        "198.25",
    ),
    # 66.60 + 5.49 = 72.09 for three; a claim of one, 22.20 + 1.83, is less than the deductible.
    "a claim below the deductible": (
        LAST_OF_ALL,
        "hopper",
        [AskedLine("part", number="SEAL-1")],
        at(9),
        "24.03",
        "0.00",
        "24.03",
    ),
    # 1.6 h are billed as 2, all after 20:00: 300 and 24.75 of tax.
    "a night": (DAY_AFTER, "hopper", [TRIP, hours("1.6")], at(20), "414.75", "0.00", "414.75"),
    # 07:15 to 09:15: 0.75 × 150 + 1.25 × 100 = 237.50; tax 19.59375.
    "before the service opens": (DAY_AFTER, "hopper", [hours("1.6")], at(7, 15), "257.09", "0.00", "257.09"),
    # The least is an hour: 16:45 to 17:45, 0.25 × 100 + 0.75 × 150 = 137.50; tax 11.34375.
    "the least that is billed runs over the end": (
        DAY_AFTER,
        "hopper",
        [hours("0.2")],
        at(16, 45),
        "148.84",
        "0.00",
        "148.84",
    ),
}


@pytest.mark.parametrize("name", BILLS)
def test_a_bill_comes_out_as_by_hand(name: str) -> None:
    on, component, lines, starts_at, total, claimed, beyond = BILLS[name]
    bill = priced(RULEBOOK, Visit("fogline", MACHINE, component, False, True, on, on, starts_at), lines)
    assert (bill.total, bill.claimed, bill.beyond_warranty) == (usd(total), usd(claimed), usd(beyond))
