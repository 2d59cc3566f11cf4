"""The mix: expected against measured sugar share (Brix, percent by mass).

`facts` computes `brix_expected` (from jugs of water and pouches; else what the label asks for), `brix_gap`
(measured less expected), `mix_too_thin` and `mix_too_rich` (flags), `brix_off_label` (measured, else
expected from what was poured, less the label's number) and `mix_water_short_l` (water to add to reach the
label, 0 when thin).

Inputs are the ids in `INPUTS`; `brix_measured` is a refractometer reading. Left out: the refractometer's
own temperature error, citric acid and other solids it takes for sugar (a fraction of 1 %), product already
in the hopper, and ice: a frozen sample reads high, because only the liquid is on the prism. Melt the sample
first.
"""

from collections.abc import Mapping

from triage.logic.conditions import Facts, FactValue
from triage.machine.measures.quantities import (
    DENSITY_KG_PER_L,
    Span,
    check_ranges,
    density_kg_per_l,
    known_quantities,
    new_facts,
    rounded,
)
from triage.values.errors import InputError, Problem

WATER_KG_PER_L = DENSITY_KG_PER_L[0]
TOLERANCE_BRIX = 1.0
"""From where on a gap counts: reading, filling to a mark and pouring out a pouch add up. Common practice."""

INPUTS: Mapping[str, Span] = {
    "water_jugs": Span("the number of jugs of water", 0, 100, ""),
    "jug_l": Span("the size of a jug", 0.1, 40, "liter"),
    "pouches": Span("the number of pouches", 0, 100, ""),
    "pouch_kg": Span("the mass of a pouch", 0.01, 25, "kilogram"),
    "pouch_l": Span("the volume of a pouch of syrup", 0.01, 25, "liter"),
    "pouch_brix": Span("the sugar share of a pouch", 1, 100, "percent"),
    "label_brix": Span("the sugar share the label asks for", 1, 42, "percent"),
    "brix_measured": Span("the refractometer reading", 0, 85, "percent"),
}


def pouch_kg_from_volume(pouch_l: float, pouch_brix: float) -> float:
    """The mass of a pouch of syrup. For powder, give the mass: a volume says nothing."""
    check_ranges(INPUTS, pouch_l=pouch_l, pouch_brix=pouch_brix)
    return pouch_l * density_kg_per_l(pouch_brix)


def expected_brix(water_l: float, pouches: float, pouch_kg: float, pouch_brix: float) -> float:
    """The sugar share after mixing `water_l` liters of water with pouches of powder or syrup."""
    check_ranges(INPUTS, pouches=pouches, pouch_kg=pouch_kg, pouch_brix=pouch_brix)
    concentrate_kg = pouches * pouch_kg
    total_kg = water_l * WATER_KG_PER_L + concentrate_kg
    if water_l < 0 or total_kg <= 0:
        raise InputError([Problem("nothing was poured in: give the water or the pouches", "/water_jugs")])
    return concentrate_kg * pouch_brix / total_kg


def water_to_add_l(batch_kg: float, brix: float, wanted_brix: float) -> float:
    """Water that brings a batch down to `wanted_brix`; 0 when it is not above it."""
    check_ranges(INPUTS, brix_measured=brix, label_brix=wanted_brix)
    return max(0.0, batch_kg * (brix / wanted_brix - 1) / WATER_KG_PER_L)


def facts(known: Facts) -> dict[str, FactValue]:
    """The facts named in the module's docstring, as far as the known inputs allow."""
    given = known_quantities(known, INPUTS)
    batch = _batch(given)
    poured = None if batch is None else expected_brix(*batch)
    label, measured = given.get("label_brix"), given.get("brix_measured")
    expected = poured if poured is not None else label
    gap = None if measured is None or expected is None else measured - expected
    actual = measured if measured is not None else poured
    off_label = None if actual is None or label is None else actual - label
    judged = off_label if off_label is not None else gap
    water_short = None
    if batch is not None and actual is not None and label is not None:
        water_l, pouches, pouch_kg, _ = batch
        water_short = water_to_add_l(water_l * WATER_KG_PER_L + pouches * pouch_kg, actual, label)
    return new_facts(
        known,
        {
            "brix_expected": None if expected is None else rounded(expected, 1),
            "brix_gap": None if gap is None else rounded(gap, 1),
            "brix_off_label": None if off_label is None else rounded(off_label, 1),
            "mix_too_thin": None if judged is None else judged < -TOLERANCE_BRIX,
            "mix_too_rich": None if judged is None else judged > TOLERANCE_BRIX,
            "mix_water_short_l": None if water_short is None else rounded(water_short, 2),
        },
    )


def _batch(given: Mapping[str, float]) -> tuple[float, float, float, float] | None:
    """Water in liters, pouches, a pouch's mass and its sugar share; None while one is missing."""
    if not all(name in given for name in ("water_jugs", "jug_l", "pouches", "pouch_brix")):
        return None
    pouch_kg = given.get("pouch_kg")
    if pouch_kg is None:
        if "pouch_l" not in given:
            return None
        pouch_kg = pouch_kg_from_volume(given["pouch_l"], given["pouch_brix"])
    return given["water_jugs"] * given["jug_l"], given["pouches"], pouch_kg, given["pouch_brix"]
