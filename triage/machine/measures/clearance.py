"""Clearance: free space around the machine against what its model needs to breathe.

`facts` computes `clearance_short` (flag), `clearance_short_in` (the largest shortfall in inches, 0 when
none is known to be short) and `clearance_short_side` (where: "behind", "left", "right", "above").
`clearance_short` is true as soon as one side is known to be short, false only when every side with a need
was measured.

Inputs: `clearance_<side>_in` and the model's `clearance_need_<side>_in`. A side whose need is not known is
not judged; the needs come from the maker's manual.
"""

from collections.abc import Mapping

from triage.logic.conditions import Facts, FactValue
from triage.machine.measures.quantities import Span, check_ranges, known_quantities, new_facts, rounded

SIDES = ("behind", "left", "right", "above")
INPUTS: Mapping[str, Span] = {
    name: Span(title, 0, 120, "inch")
    for side in SIDES
    for name, title in (
        (f"clearance_{side}_in", f"the free space {side}"),
        (f"clearance_need_{side}_in", f"the space the model needs {side}"),
    )
}


def shortfalls_in(free_in: Mapping[str, float], needed_in: Mapping[str, float]) -> dict[str, float]:
    """By side, the inches missing (0: enough), for the sides that were measured and have a need."""
    for template, sides in (("clearance_{}_in", free_in), ("clearance_need_{}_in", needed_in)):
        check_ranges(INPUTS, **{template.format(side): inches for side, inches in sides.items()})
    return {side: max(0.0, needed - free_in[side]) for side, needed in needed_in.items() if side in free_in}


def facts(known: Facts) -> dict[str, FactValue]:
    """The facts named in the module's docstring."""
    given = known_quantities(known, INPUTS)
    needed = _by_side(given, "clearance_need_{}_in")
    missing = shortfalls_in(_by_side(given, "clearance_{}_in"), needed)
    if not missing:
        return {}
    side = max(missing, key=lambda name: missing[name])
    all_measured = len(missing) == len(needed)
    return new_facts(
        known,
        {
            "clearance_short": True if missing[side] > 0 else False if all_measured else None,
            "clearance_short_in": rounded(missing[side], 2),
            "clearance_short_side": side if missing[side] > 0 else None,
        },
    )


def _by_side(given: Mapping[str, float], template: str) -> dict[str, float]:
    return {side: given[name] for side in SIDES if (name := template.format(side)) in given}
