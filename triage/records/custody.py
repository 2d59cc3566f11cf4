"""The exchange of a machine: which depot unit fits, what moves with it, and who had which serial when.

The new unit takes the old one's site, contractor and what is on record of the circuit there. Warranty stays
with each unit's own dates, and history with the serial it happened to; custody links the two by their ticket.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Literal, TypeAlias

from moneyed import Money

from triage.records.report import Machine
from triage.values.errors import ConflictError

Step: TypeAlias = Literal["at_depot", "on_the_way", "installed", "returned", "scrapped", "refurbished"]
Disposition: TypeAlias = Literal["refurbish", "scrap", "return"]
DISPOSITIONS: Mapping[Disposition, Step] = {
    "refurbish": "refurbished",
    "scrap": "scrapped",
    "return": "returned",
}
"""What is to become of the old unit -> its step in the chain of custody."""

NEXT: Mapping[Step | None, frozenset[Step]] = {
    # A machine that came with the records has no custody yet; it stands where the record says.
    None: frozenset({"at_depot", "returned", "scrapped", "refurbished"}),
    "at_depot": frozenset({"on_the_way"}),
    "on_the_way": frozenset({"at_depot", "installed"}),
    "installed": frozenset({"returned", "scrapped", "refurbished"}),
    "returned": frozenset({"at_depot", "scrapped", "refurbished"}),
    "refurbished": frozenset({"at_depot", "scrapped"}),
    "scrapped": frozenset(),
}
"""Step -> the steps that may follow it."""

TAKEN_OUT: frozenset[Step] = frozenset(DISPOSITIONS.values())
PLACE_FACTS = ("nominal_volts", "circuit_amps", "dedicated_circuit", "other_load_amps")
"""Recorded facts of the outlet, not of the machine: they stay with the site."""

VOLTS_APART = Decimal("0.05")
"""115 and 120 V name one supply, 208 and 230 V do not. Common practice, no source."""

FITS_LARGER = frozenset({(Decimal(15), Decimal(20))})
"""Amperes of a plug and of a larger circuit it is made to be used on. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class DepotUnit:
    """A unit that waits to be sent. `amps` is the rating of the circuit that its plug is for."""

    serial: str
    model: str
    volts: int
    amps: int
    seal_style: str
    ready_since: date
    depot: str
    shipped_on: date
    commissioned_on: date | None = None
    price: Money | None = None


@dataclass(frozen=True, slots=True)
class Match:
    """A unit held against a machine. `reasons` are why it does not fit; `to_check` what no record tells."""

    unit: DepotUnit
    reasons: tuple[str, ...]
    to_check: tuple[str, ...]

    @property
    def fits(self) -> bool:
        return not self.reasons


@dataclass(frozen=True, slots=True)
class CustodyEvent:
    """One step of a serial. `other` is the serial it was exchanged for; `place` a depot or a site id."""

    serial: str
    step: Step
    at: datetime
    who: str
    ticket: str | None = None
    other: str | None = None
    place: str = ""


@dataclass(frozen=True, slots=True)
class Exchange:
    """Both machines' records afterwards, and the steps of both serials."""

    installed: Machine
    taken_out: Machine
    custody: tuple[CustodyEvent, CustodyEvent]


def match(unit: DepotUnit, machine: Machine, on: date) -> Match:
    """Whether the unit can take the machine's place on that day."""
    reasons, to_check = [], []
    if unit.model != machine.model:
        reasons.append(f"it is of model {unit.model}; the machine is of {machine.model}")
    volts, amps = machine.facts.get("nominal_volts"), machine.facts.get("circuit_amps")
    if not isinstance(volts, Decimal):
        to_check.append(f"the outlet's voltage is not on record; the unit takes {unit.volts} V")
    elif abs(volts - unit.volts) > VOLTS_APART * unit.volts:
        reasons.append(f"it takes {unit.volts} V; the outlet has {volts.normalize():f} V")
    if not isinstance(amps, Decimal):
        to_check.append(f"the circuit's rating is not on record; the unit is for {unit.amps} A")
    elif amps != unit.amps and (Decimal(unit.amps), amps) not in FITS_LARGER:
        reasons.append(f"it is for a circuit of {unit.amps} A; the outlet's has {amps.normalize():f} A")
    seal = machine.facts.get("seal_style")
    if seal is None:
        to_check.append(f"the seal's style is not on record; the unit has the {unit.seal_style} one")
    elif seal != unit.seal_style:
        reasons.append(f"its hopper seal is {unit.seal_style}; the store keeps the {seal} one")
    if unit.ready_since > on:
        reasons.append(f"it is ready from {unit.ready_since} on")
    return Match(unit, tuple(reasons), tuple(to_check))


def match_units(units: Iterable[DepotUnit], machine: Machine, on: date) -> tuple[Match, ...]:
    """Each unit held against the machine, best first.

    Those that fit come first; among them those with least to check, then those that have waited longest.
    """
    found = (match(unit, machine, on) for unit in units)
    return tuple(
        sorted(
            found,
            key=lambda one: (
                len(one.reasons),
                len(one.to_check),
                one.unit.ready_since,
                one.unit.serial,
            ),
        )
    )


def refuse_step(serial: str, last: Step | None, step: Step) -> None:
    """Raises ConflictError for a step that cannot follow the last one."""
    if step not in NEXT[last]:
        where = "on record only" if last is None else step_words(last)
        raise ConflictError(f"{serial} is {where}; it cannot be {step_words(step)} next")


def step_words(step: Step) -> str:
    return step.replace("_", " ")


def comes_to_depot(chain: Sequence[CustodyEvent], ready_since: date) -> bool:
    """Whether a depot's list brings the serial (back) to the depot.

    It does where nothing is known of it, or where it was taken out before the day it is ready since. A list
    that is older than a unit's last step changes nothing.
    """
    if not chain:
        return True
    last = chain[-1]
    return "at_depot" in NEXT[last.step] and last.step in TAKEN_OUT and ready_since >= last.at.date()


def exchange(
    old: Machine,
    unit: DepotUnit,
    known: Machine | None,
    disposition: Disposition,
    ticket: str,
    at: datetime,
    who: str,
) -> Exchange:
    """What the exchange makes of both; `known` is the new unit's record where it has served before.

    The new unit is not commissioned by being put in: its checklist does that, and till then the dates that
    warranty counts from are those it came with.
    """
    facts = {} if known is None else {key: known.facts[key] for key in known.facts if key not in PLACE_FACTS}
    facts |= {name: old.facts[name] for name in PLACE_FACTS if name in old.facts}
    facts["seal_style"] = unit.seal_style
    own = known or Machine(unit.serial, unit.model, unit.shipped_on, unit.commissioned_on, price=unit.price)
    installed = replace(own, site=old.site, contractor=old.contractor, facts=facts)
    place = "" if old.site is None else old.site.id
    custody = (
        CustodyEvent(unit.serial, "installed", at, who, ticket, old.serial, place),
        CustodyEvent(old.serial, DISPOSITIONS[disposition], at, who, ticket, unit.serial, unit.depot),
    )
    return Exchange(installed, replace(old, site=None, contractor=None), custody)
