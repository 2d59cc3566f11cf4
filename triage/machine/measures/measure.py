"""The calculations that make facts, run one after the other on what is known."""

from collections.abc import Callable, Mapping

from triage.logic.conditions import Facts, FactValue
from triage.machine.measures import clearance, freeze, level, mix, supply
from triage.records.decision import KnownFact
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError

CALCULATIONS: tuple[tuple[str, Callable[[Facts], Mapping[str, FactValue]]], ...] = (
    ("level", level.facts),
    ("clearance", clearance.facts),
    ("supply", supply.facts),
    ("mix", mix.facts),
    ("freeze-down", freeze.facts),
)
"""In an order in which later ones may use what earlier ones found."""


def calculated(
    rulebook: Rulebook, known: Mapping[str, KnownFact]
) -> tuple[dict[str, KnownFact], tuple[str, ...]]:
    """`known` and what the calculations add to it, as far as the rulebook has these facts; and notes.

    A calculation whose inputs lie outside its range is left out, with a note: the report is still decided.
    """
    values: dict[str, FactValue] = {fact: each.value for fact, each in known.items()}
    found: dict[str, KnownFact] = {}
    notes = []
    for name, calculate in CALCULATIONS:
        try:
            new = calculate(values)
        except InputError as error:
            notes.append(f"The {name} calculation was left out: {error}")
            continue
        values |= {fact: value for fact, value in new.items() if fact not in values}
        found |= {
            fact: KnownFact(value, "computed")
            for fact, value in new.items()
            if fact in rulebook.facts and fact not in known
        }
    return {**known, **found}, tuple(notes)
