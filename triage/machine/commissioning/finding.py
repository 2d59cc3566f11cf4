"""One judged line of an installer's checklist, and the standard it is judged by."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, TypeAlias

from triage.machine.measures.night_mode import LEAST_NIGHT_MODE_HOURS

Result: TypeAlias = Literal["passed", "failed", "missing"]


@dataclass(frozen=True, slots=True)
class Standard:
    """What a machine needs where it stands. Common practice without a source where none is named."""

    volts_low: Decimal = Decimal(114)  # 120 V ± 5 %: service voltage of COMAR 20.50.07.02
    volts_high: Decimal = Decimal(126)
    amps: Decimal = Decimal(20)
    behind_in: Decimal = Decimal(6)
    side_in: Decimal | None = None  # None: anything but flush; the maker's manual says more
    forward_pct: Decimal = Decimal(3)  # "slightly forward"
    back_in: Decimal = Decimal("0.125")  # for leg heights without the distance between the legs
    forward_in: Decimal = Decimal("0.5")
    night_mode_hours: Decimal = LEAST_NIGHT_MODE_HOURS


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the checklist, judged. `found` is "" where nothing was written down."""

    id: str
    title: str
    result: Result
    found: str
    wanted: str
    why: str


@dataclass(frozen=True, slots=True)
class Line:
    id: str
    title: str
    wanted: str

    def missing(self, what: str) -> Finding:
        return Finding(self.id, self.title, "missing", "", self.wanted, f"not written down: {what}")

    def judged(self, ok: bool, found: str, why_not: str) -> Finding:
        why = "as wanted" if ok else why_not
        return Finding(self.id, self.title, "passed" if ok else "failed", found, self.wanted, why)
