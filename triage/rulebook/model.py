"""The rulebook as the core sees it: immutable, linked, every condition already parsed.

`rulebook_reader.read_rulebook` makes it from a folder; `rulebook_files` holds the shapes of the files.
Amounts are Decimals in `Rulebook.currency`; chances lie in 0..1; minutes, hours and months are named as such.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Literal, TypeAlias

from triage.logic.conditions import ALWAYS, Condition, Scalar, UnaryTest
from triage.machine.measures.upkeep import CareIntervals

Outcome: TypeAlias = Literal["fix_in_store", "dispatch", "approve", "hold", "swap"]
FactType: TypeAlias = Literal["number", "choice", "flag", "date", "time", "text"]
HitPolicy: TypeAlias = Literal["UNIQUE", "FIRST", "PRIORITY", "COLLECT"]
Status: TypeAlias = Literal["draft", "live", "retired"]
Skill: TypeAlias = Literal["general", "electrical", "refrigeration"]

OTHERS = "others"
"""In `seen_with`: any cause that is not named."""

OTHER_CAUSE = "other"
"""The cause that stands for everything the rulebook does not name; part of every symptom's shares."""


@dataclass(frozen=True, slots=True)
class Fact:
    id: str
    title: str
    type: FactType
    asked_of: Literal["clerk", "technician", "record", "computed"]
    unit: str | None = None  # a pint unit name
    range: UnaryTest | None = None  # an Interval, for numbers and dates
    choices: Mapping[str, str] = field(default_factory=dict)  # id -> title, for choices
    ask: str | None = None
    help: str | None = None  # how the clerk finds out
    ask_seconds: int = 20


@dataclass(frozen=True, slots=True)
class Symptom:
    id: str
    title: str
    shares: Mapping[str, Decimal]  # cause -> calls out of those seen; normalised by the ranking
    callers_say: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Repair:
    """The typical repair of a cause: what a technician's visit for it takes."""

    labor_hours: Decimal
    parts: Mapping[str, int] = field(default_factory=dict)  # part number -> quantity
    technicians: int = 1
    skill: Skill = "general"


@dataclass(frozen=True, slots=True)
class Cause:
    id: str
    title: str
    component: str
    repair: Repair
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class RuleCase:
    """One of a rule's own cases: with these facts, does its condition hold?"""

    facts: Mapping[str, Scalar | frozenset[str]]
    fires: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class RuleHead:
    id: str
    title: str
    status: Status
    owner: str
    since: date
    why: str
    source: str
    when: Condition
    known_misfires: str
    cases: tuple[RuleCase, ...]
    file: str  # path relative to the rulebook folder, for messages


@dataclass(frozen=True, slots=True)
class DeriveRule:
    """`sets` when the condition is true, `otherwise` when it is false, nothing when it is unknown.

    A fact that is already known is never replaced. Where several rules set one fact, the first that speaks
    (highest `priority`, then id) counts.
    """

    head: RuleHead
    sets: Mapping[str, Scalar]
    otherwise: Mapping[str, Scalar] = field(default_factory=dict)
    priority: int = 0


@dataclass(frozen=True, slots=True)
class EvidenceRule:
    head: RuleHead
    seen_with: Mapping[str, float]  # cause -> P(condition holds | cause)
    others: float  # the same for any cause not named
    group: str | None = None
    band: int = 0

    def chance_given(self, cause: str) -> float:
        return self.seen_with.get(cause, self.others)


@dataclass(frozen=True, slots=True)
class Caution:
    """A danger and what it forbids. With `only_with_checks` it is said beside the checks that name it."""

    head: RuleHead
    text: str
    only_with_checks: bool = False
    stop_use: bool = False
    forbids: frozenset[str] = frozenset()  # check ids
    forbids_all_checks: bool = False
    visit_skill: Skill | None = None
    visit_priority: int | None = None
    defers_to: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Check:
    id: str
    title: str
    when: Condition
    who: Literal["clerk", "technician"]
    minutes: int
    wait_minutes: int
    resolves: Mapping[str, float]  # cause -> P(cured | cause)
    cautions: tuple[str, ...]
    steps: tuple[str, ...]
    look_for: str
    materials: Decimal
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class PolicyRule:
    """Argues for one outcome. Of all that hold, the highest `priority` wins (DMN hit policy PRIORITY)."""

    head: RuleHead
    outcome: Outcome
    priority: int
    text: str  # the reason as people read it; may hold {fact} placeholders
    visit_priority: int | None = None


@dataclass(frozen=True, slots=True)
class CoverPeriod:
    parts_months: int
    labor_months: int


@dataclass(frozen=True, slots=True)
class CoverRisk:
    """Something that puts cover at risk when it holds. It is said; it never voids cover by itself."""

    when: Condition
    say: str


@dataclass(frozen=True, slots=True)
class CoverTerms:
    id: str
    title: str
    models: frozenset[str]  # empty: every model
    starts: Literal["commissioned", "shipped"]
    cap_months_from_ship: int | None
    periods: Mapping[str, CoverPeriod]  # component -> period; "default" for the rest
    risks: tuple[CoverRisk, ...]
    claim_needs: tuple[str, ...]
    source: str
    deductible: Decimal = Decimal(0)  # of every claim, what the programme pays itself


@dataclass(frozen=True, slots=True)
class LimitRow:
    when: Mapping[str, UnaryTest]  # input fact -> test; an input not named is "-"
    then: Mapping[str, Scalar]
    line: int  # in the file, for messages


@dataclass(frozen=True, slots=True)
class LimitTable:
    """A DMN decision table. `nte` tables give `amount`; `authority` tables give `authority`."""

    id: str
    title: str
    kind: Literal["nte", "authority"]
    hit_policy: HitPolicy
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    rows: tuple[LimitRow, ...]
    output_order: tuple[Scalar, ...]  # for PRIORITY: the outputs, first is best
    collect: Literal["SUM", "MIN", "MAX"] | None
    source: str


@dataclass(frozen=True, slots=True)
class Absence:
    """Days on which an authority cannot be asked, both ends included."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Authority:
    id: str
    title: str
    reach: str
    up_to: Decimal | None  # None: no ceiling
    deputies: tuple[str, ...] = ()  # authorities who speak for this one while it is absent, first to be asked
    absent: tuple[Absence, ...] = ()
    valid_days: int = 30  # how long its yes may be used


@dataclass(frozen=True, slots=True)
class DistanceBand:
    up_to_km: Decimal
    fee: Decimal


@dataclass(frozen=True, slots=True)
class RateAgreement:
    trip: Decimal
    labor_hour: Decimal
    billed_step_minutes: int
    minimum_minutes: int
    second_technician_hour: Decimal
    after_hours_factor: Decimal
    parts_markup: Decimal  # 0.20 is 20 %
    tax: Decimal  # 0.0825 is 8.25 %
    tax_on: frozenset[Literal["trip", "labor", "parts", "freight"]]
    freight: Decimal
    distance_bands: tuple[DistanceBand, ...]
    van_kg: Decimal | None = None  # the most that the parts of one visit may weigh; None: no limit
    van_value: Decimal | None = None  # and be worth, at the prices of parts.yml


@dataclass(frozen=True, slots=True)
class StoreRates:
    """What time is worth in the store."""

    clerk_hour: Decimal
    lost_sales_hour: Decimal  # while a machine that could pour does not
    open_hours_a_day: Decimal
    days_to_visit: Decimal  # from dispatch to a pouring machine


@dataclass(frozen=True, slots=True)
class Rates:
    default: RateAgreement
    contractors: Mapping[str, RateAgreement]
    store: StoreRates
    swap_cost: Decimal  # exchange of a whole machine: freight, two people, set-up


@dataclass(frozen=True, slots=True)
class Part:
    number: str
    title: str
    price: Decimal
    kg: Decimal


@dataclass(frozen=True, slots=True)
class ResponseTime:
    """`hours` until someone is there; elapsed hours around the clock, or service hours only."""

    hours: Decimal
    clock: Literal["elapsed", "service"]


@dataclass(frozen=True, slots=True)
class ServiceHours:
    """Hours by weekday, "mon".."sun" -> ("08:00", "17:00"); a day not named is closed."""

    week: Mapping[str, tuple[str, str]]
    holidays_country: str | None
    holidays_subdivision: str | None
    priorities: Mapping[int, ResponseTime]
    default_priority: int


@dataclass(frozen=True, slots=True)
class WholeCase:
    """A whole report with the decision expected of it (`cases/<id>.yml`)."""

    id: str
    title: str
    report: Mapping[str, object]  # REPORT.json as plain data
    machine: Mapping[str, object] | None  # --machine-file as plain data
    expect: Mapping[str, object]  # outcome, top_cause, cautions, first_check, not_outcome …
    baseline: bool = False


@dataclass(frozen=True, slots=True)
class MachineModel:
    """What holds for every machine of a model (`models.yml`): record facts by id, and where they are from."""

    title: str
    facts: Mapping[str, Scalar]
    source: str


@dataclass(frozen=True, slots=True)
class Tolerances:
    near_certain: float = 0.90  # a cause this likely is taken as known
    chance_over: float = 0.10  # the accepted chance to run over a limit
    question_worth: Decimal = Decimal("0.00")


@dataclass(frozen=True, slots=True)
class Rulebook:
    """Everything the programme has decided beforehand. `version` is "sha256:" and 64 hex digits."""

    title: str
    currency: str
    version: str
    tolerances: Tolerances
    facts: Mapping[str, Fact]
    symptoms: Mapping[str, Symptom]
    causes: Mapping[str, Cause]
    derive: Mapping[str, DeriveRule]
    evidence: Mapping[str, EvidenceRule]
    cautions: Mapping[str, Caution]
    checks: Mapping[str, Check]
    policy: Mapping[str, PolicyRule]
    cover: Mapping[str, CoverTerms]
    limits: Mapping[str, LimitTable]
    authorities: Mapping[str, Authority]
    rates: Rates
    parts: Mapping[str, Part]
    service_hours: ServiceHours
    cases: Mapping[str, WholeCase]
    models: Mapping[str, MachineModel] = field(default_factory=dict)  # by the name on the rating plate
    care: CareIntervals = field(default_factory=CareIntervals)
    lint_off: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # file -> lint code -> reason

    def live_rules(self) -> Mapping[str, Condition]:
        """Condition by id of every live rule and check that the inference evaluates."""
        heads = [
            rule.head
            for kind in (self.derive, self.evidence, self.cautions, self.policy)
            for rule in kind.values()
        ]
        live = {head.id: head.when for head in heads if head.status == "live"}
        return live | {check.id: check.when for check in self.checks.values()}


NO_CONDITION = ALWAYS
