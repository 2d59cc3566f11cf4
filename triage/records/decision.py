"""The decision as a value: everything people are told, and everything needed to make it again.

Chances and factors are floats in 0..1 (factors > 0); amounts are Money; times are timezone-aware.
`as_json` in `decision_json` gives the contract's JSON.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from itertools import groupby
from typing import Literal, NamedTuple

from moneyed import Money

from triage.logic.conditions import FactValue
from triage.records.danger import Danger
from triage.rulebook.model import Fixer, Outcome, Skill


@dataclass(frozen=True, slots=True)
class KnownFact:
    """A fact's value and where it came from."""

    value: FactValue
    source: Literal["caller", "words", "record", "derived", "computed"]
    rule: str | None = None  # the derive rule, for derived facts
    quote: str | None = None  # the words in which it was heard


class Factor(NamedTuple):
    """One observation's weight: chance is multiplied by `factor`, then all are normalized.

    A tuple, since a decision makes a hundred of them and tuples are made quickly. `held` is the truth of the
    rule's condition. `factor` is P(observed | cause) divided by its mean over the causes before it, so that a
    factor above 1 speaks for the cause.
    """

    rule: str
    text: str
    held: bool
    probability: float
    factor: float


@dataclass(frozen=True, slots=True)
class CauseChance:
    cause: str
    title: str
    chance: float
    share: float  # before any observation
    factors: tuple[Factor, ...]


@dataclass(frozen=True, slots=True)
class Fault:
    """One of two faults that are likelier than one: what it makes, and its likeliest cause."""

    symptoms: tuple[str, ...]
    cause: str
    title: str
    chance: float  # of that cause, among those of this fault


@dataclass(frozen=True, slots=True)
class PlanStep:
    check: str
    title: str
    chance: float  # that it cures, of the calls that reach its group
    minutes: int
    wait_minutes: int
    cost: Money  # of this check done by itself
    cautions: tuple[str, ...]
    steps: tuple[str, ...]
    look_for: str
    group: int = 0  # those of one number are done one after the other before one wait, the longest; 0: alone


def in_groups(plan: Sequence[PlanStep]) -> tuple[tuple[PlanStep, ...], ...]:
    """The steps of each wait, in order."""
    found = groupby(enumerate(plan), key=lambda each: each[1].group or -each[0])
    return tuple(tuple(step for _, step in steps) for _, steps in found)


@dataclass(frozen=True, slots=True)
class ExpectedCost:
    """What the rest of this call will cost on average: by the best plan, and by sending a technician now."""

    plan: Money
    dispatch_now: Money
    exact: bool  # False: the order was found greedily


@dataclass(frozen=True, slots=True)
class Question:
    fact: str
    ask: str
    saves: Money
    safety: bool  # asked first because a caution hangs on it
    why: str


@dataclass(frozen=True, slots=True)
class CautionSaid:
    rule: str
    text: str
    stop_use: bool
    defers_to: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WarrantySide:
    """Parts or labor of one component: in warranty on the day asked, and until when (inclusive)."""

    component: str
    covered: bool
    until: date | None


@dataclass(frozen=True, slots=True)
class WarrantyAnswer:
    """Warranty of the component most likely at fault. None until: no commissioning date or no terms known."""

    terms: str | None
    parts: WarrantySide
    labor: WarrantySide
    at_risk: tuple[str, ...]
    claim_needs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LimitAnswer:
    nte: Money
    spent: Money  # on this ticket
    spent_12_months: Money
    headroom: Money
    expected_repair: Money
    chance_over: float
    authority: str | None  # who may say yes to what goes beyond; None while nothing does
    authority_title: str | None
    reach: str | None
    table: str | None
    row_line: int | None
    promised: Money  # to the machine's other tickets
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Visit:
    priority: int
    due: datetime
    skill: Skill
    kit: tuple[str, ...]  # part numbers; one that is needed twice stands twice
    kit_chance: float | None  # that the kit holds all the fault's repair takes; None for an exchange
    by: Fixer = "contractor"


@dataclass(frozen=True, slots=True)
class TurnsAt:
    """The number of one number, all others as they are, at which keep or swap turns.

    Amounts are in the rulebook's currency; `running_costs` is a factor on the forecast (now 1), `rate` a
    share.
    """

    number: str
    now: Decimal
    turns_at: Decimal


@dataclass(frozen=True, slots=True)
class KeepOrSwapSaid:
    """Keeping against exchanging the machine, by year, and what would have turned it.

    `keep_years` is for how many years keeping stays cheaper (0: not at all). `hangs_on` is the number whose
    least relative change turns the choice; it leads `turning_points`.
    """

    choice: Literal["keep", "swap"]
    keep_cost_year: Money
    swap_cost_year: Money
    keep_years: int
    hangs_on: str | None
    turning_points: tuple[TurnsAt, ...]
    text: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reason:
    rule: str
    text: str
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class Decision:
    outcome: Outcome
    reasons: tuple[Reason, ...]
    overruled: tuple[Reason, ...]
    causes: tuple[CauseChance, ...]
    plan: tuple[PlanStep, ...]
    expected_cost: ExpectedCost
    questions: tuple[Question, ...]
    cautions: tuple[CautionSaid, ...]
    dangers: tuple[Danger, ...]  # while one is open nothing is fixed in the store
    waits_for: tuple[str, ...]  # facts whose answer keeps people away from the machine
    priority: int  # the most urgent of all cautions and rules that hold
    skill: Skill  # the strongest that a caution or a likely cause needs
    warranty: WarrantyAnswer
    limit: LimitAnswer
    visit: Visit | None
    approved_up_to: Money | None  # for `approve`: the amount authorized
    solved: bool  # a check cured it; the ticket can be closed
    facts: Mapping[str, KnownFact]
    fired: tuple[str, ...]  # ids of the rules that fired
    notes: tuple[str, ...]  # what people must know about how the answer was made
    rulebook: str
    decided_at: datetime
    engine: str
    computed_facts: Mapping[str, FactValue] = field(default_factory=dict)  # the computed facts the policy saw
    keep_or_swap: KeepOrSwapSaid | None = None  # with a swap, an estimate, or a rule on it
    faults: tuple[Fault, ...] = ()  # two, where no one cause is likely to explain all symptoms
    after_hours_agreed: bool = False  # the response time does not wait for the service hours


def facts_of(decision: Decision) -> dict[str, FactValue]:
    """All that was known and computed, by fact id."""
    return {**{name: known.value for name, known in decision.facts.items()}, **decision.computed_facts}
