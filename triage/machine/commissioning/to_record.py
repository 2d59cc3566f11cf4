"""What a machine's record keeps of its commissioning, as facts for the rules.

Only what was written down becomes a fact. What is missing or failed is counted (`commissioning_missing`,
`commissioning_failed`), so that a rule can speak of it: silence is never read as a pass.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from triage.logic.conditions import Scalar
from triage.machine.commissioning.checklist import Checklist
from triage.machine.commissioning.finding import Finding
from triage.machine.commissioning.placement import slope_back_pct
from triage.machine.measures.level import MOST_BACK_PCT
from triage.machine.measures.night_mode import night_mode_hours, night_mode_while_open


def facts(checklist: Checklist, found: Iterable[Finding]) -> dict[str, Scalar]:
    """The facts of a checklist by id, and of its `findings` how many lines are missing or failed.

    `dedicated_circuit`, `extension_cord`, `bolt_removed`, `tilted_back` (flags), `circuit_amps`,
    `clearance_behind_in`, `clearance_left_in`, `clearance_right_in` (inches), `slope_back_pct`, `seal_style`,
    `seal_mounting`, `night_mode_hours`, `night_mode_open_hours` (the most of any night).
    """
    slope, window = slope_back_pct(checklist), checklist.night_mode
    results = [finding.result for finding in found]
    values: dict[str, Scalar | None] = {
        "dedicated_circuit": checklist.circuit.dedicated,
        "circuit_amps": checklist.circuit.amps,
        "extension_cord": checklist.circuit.extension_cord,
        "clearance_behind_in": checklist.clearance.behind_in,
        "clearance_left_in": checklist.clearance.left_in,
        "clearance_right_in": checklist.clearance.right_in,
        "slope_back_pct": slope,
        "tilted_back": None if slope is None else slope > Decimal(repr(MOST_BACK_PCT)),
        "bolt_removed": checklist.shipping_bolt_removed,
        "seal_style": checklist.seal.style,
        "seal_mounting": checklist.seal.mounting,
        "night_mode_hours": None if window is None else night_mode_hours(window.start, window.end),
        "night_mode_open_hours": _open_hours(checklist),
        "commissioning_missing": Decimal(results.count("missing")),
        "commissioning_failed": Decimal(results.count("failed")),
    }
    return {name: value for name, value in values.items() if value is not None}


def _open_hours(checklist: Checklist) -> Decimal | None:
    window = checklist.night_mode
    if window is None or checklist.opening is None:
        return None
    hours = night_mode_while_open(window.start, window.end, checklist.opening)
    return max(hours.values(), default=Decimal(0))
