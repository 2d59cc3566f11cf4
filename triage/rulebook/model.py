"""The rulebook as the core sees it: immutable, linked, parsed; amounts are in `Rulebook.currency`."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Literal, TypeAlias

from triage.logic.conditions import Condition, Scalar, UnaryTest
from triage.logic.unary_tests import FactType
from triage.rulebook.installation import Installation
from triage.rulebook.terms import (
    Authority,
    LimitTable,
    MachineModel,
    Part,
    Rates,
    ServiceHours,
    Tolerances,
    WarrantyTerms,
    Words,
)
from triage.rulebook.validity import ALWAYS_VALID, Validity
from triage.values.errors import InputError

Outcome: TypeAlias = Literal["fix_in_store", "dispatch", "approve", "hold", "swap"]
Status: TypeAlias = Literal["draft", "live", "retired"]
Skill: TypeAlias = Literal["general", "electrical", "refrigeration"]
Fixer: TypeAlias = Literal["contractor", "electrician", "installer", "pest_control"]
Harm: TypeAlias = Literal["person", "gas", "life", "property", "food"]

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
    danger: bool = False  # a flag; true means that someone can be hurt
    near: bool = True  # to find out, someone goes near the machine
    status: Status = "live"
    valid: Validity = ALWAYS_VALID  # by the day of the report: not known and not asked on others


@dataclass(frozen=True, slots=True)
class Symptom:
    id: str
    title: str
    shares: Mapping[str, Decimal]  # cause -> calls out of those seen; normalized by the ranking
    callers_say: tuple[str, ...]
    source: str
    together_with: Mapping[str, Mapping[str, Decimal]] = field(default_factory=dict)  # symptom -> shares
    ask_first: tuple[str, ...] = ()  # facts of the clerk, asked before others, but for those about safety

    @property
    def says_little(self) -> bool:
        """Whether most calls with this symptom end with a cause that the rulebook does not name."""
        return self.shares.get(OTHER_CAUSE, 0) * 2 > sum(self.shares.values())


@dataclass(frozen=True, slots=True)
class Repair:
    """The typical repair of a cause: what a technician's visit for it takes."""

    labor_hours: Decimal
    parts: Mapping[str, int] = field(default_factory=dict)  # part number -> quantity
    technicians: int = 1
    skill: Skill = "general"
    spread: Decimal | None = None  # of hours and parts, 0.30 is 30 %; None: `Tolerances.repair_spread`
    by: Fixer = "contractor"  # the machine's contractor, one of the store's own, or who set it up


@dataclass(frozen=True, slots=True)
class Cause:
    id: str
    title: str
    component: str
    repair: Repair
    why: str
    source: str
    status: Status = "live"
    sales_lost: Decimal = Decimal(1)  # share of the machine's sales while it waits, one side having the fault


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
    why: str
    source: str
    when: Condition
    known_misfires: str
    cases: tuple[RuleCase, ...]
    file: str  # path relative to the rulebook folder, for messages
    valid: Validity = ALWAYS_VALID  # by the day of the report
    since: date | None = None  # of older files; nothing goes by it


@dataclass(frozen=True, slots=True)
class DeriveRule:
    """`sets` when the condition is true, `otherwise` when it is false, nothing when it is unknown.

    A known fact is never replaced, but for a danger that was denied. Of several rules that set one, the first
    that speaks counts (highest `priority`, then id); a danger is one as soon as any rule says so.
    """

    head: RuleHead
    sets: Mapping[str, Scalar]
    otherwise: Mapping[str, Scalar] = field(default_factory=dict)
    priority: int = 0


@dataclass(frozen=True, slots=True)
class EvidenceRule:
    head: RuleHead
    seen_with: Mapping[str, float]  # cause -> P(condition holds | cause)
    others: float  # of any cause not named
    group: str | None = None
    band: int = 0
    mechanism: str | None = None  # what makes it go together with others of the same name

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
    first: tuple[str, ...] = ()  # checks to do before anything else
    harm: Harm | None = None
    alone: bool = False  # a check beside which it is said is never done together with another

    @property
    def bars(self) -> bool:
        """Whether nothing may be fixed in the store while it holds: it stops use or forbids something."""
        return self.stop_use or self.forbids_all_checks or bool(self.forbids)

    @property
    def guards(self) -> bool:
        """Whether it guards against a danger: it bars, or something is to be done before all else."""
        return self.bars or bool(self.first)

    @property
    def cleaned_away(self) -> bool:
        """Whether its danger is gone once its `first` checks are done, as that of spoiled product is."""
        return bool(self.first) and not self.bars

    @property
    def keeps_all_back(self) -> bool:
        """Whether nobody goes near the machine while it is not known if it holds."""
        return not self.only_with_checks and (self.stop_use or self.forbids_all_checks)


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
    near: bool = True  # somebody goes near the machine for it
    valid: Validity = ALWAYS_VALID  # by the day of the report


@dataclass(frozen=True, slots=True)
class PolicyRule:
    """Argues for one outcome. Of all that hold, the highest `priority` wins (DMN hit policy PRIORITY)."""

    head: RuleHead
    outcome: Outcome
    priority: int
    text: str  # the reason as people read it; may hold {fact} placeholders
    visit_priority: int | None = None


@dataclass(frozen=True, slots=True)
class WholeCase:
    """A whole report with the decision expected of it (`cases/<id>.yml`)."""

    id: str
    title: str
    report: Mapping[str, object]  # REPORT.json as plain data
    machine: Mapping[str, object] | None  # --machine-file as plain data
    expect: Mapping[str, object]  # outcome, top_cause, cautions, first_check, not_outcome …
    baseline: bool = False


Task: TypeAlias = Literal["filter", "full_clean"]


@dataclass(frozen=True, slots=True)
class CareIntervals:
    """Days between care. Defaults: common practice, no source; the maker's manual comes first."""

    filter_days: int = 15
    full_clean_days: int = 30

    def __post_init__(self) -> None:
        if self.filter_days < 1 or self.full_clean_days < 1:
            raise InputError("a care interval is a whole number of days, at least 1")

    def days(self, task: Task) -> int:
        return self.filter_days if task == "filter" else self.full_clean_days


@dataclass(frozen=True, slots=True)
class Rulebook:
    """Everything the program has decided beforehand. `version` is "sha256:" and 64 hex digits."""

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
    warranty: Mapping[str, WarrantyTerms]
    limits: Mapping[str, LimitTable]
    authorities: Mapping[str, Authority]
    rates: Rates
    parts: Mapping[str, Part]
    service_hours: ServiceHours
    cases: Mapping[str, WholeCase]
    words: Mapping[str, Words] = field(default_factory=dict)
    models: Mapping[str, MachineModel] = field(default_factory=dict)  # by the name on the rating plate
    installation: Installation = field(default_factory=Installation)
    care: CareIntervals = field(default_factory=CareIntervals)
    lint_off: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # file -> lint code -> reason
    ops_up_to: Decimal | None = None  # what ops approve in an authority's name; None: what the authority may
    spanish: Mapping[str, str] = field(default_factory=dict)  # English wording -> Spanish
    spanish_gaps: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # file -> keys without any
    spanish_twice: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # file -> wordings with two
    set_aside: Mapping[str, frozenset[str]] = field(default_factory=dict)  # kind -> ids of drafts and retired
    together: tuple[tuple[str, ...], ...] = ()  # checks that may be done before one wait, in this order
    program_facts: Mapping[str, Scalar] = field(default_factory=dict)  # unless model or record says otherwise
    reopen_days: int = 30  # a closed ticket is reopened this long; common practice, no source

    def cleans_away(self, caution: str) -> bool:
        """Whether the danger of a caution by this id ends with a cleaning; no for one that is not known."""
        return caution in self.cautions and self.cautions[caution].cleaned_away

    def terms_conditions(self) -> Iterator[tuple[str, str, Condition]]:
        """Id, file and condition of what puts warranty at risk, and of every row of a limit table."""
        for terms in self.warranty.values():
            yield from ((terms.id, f"warranty/{terms.id}.yml", risk.when) for risk in terms.risks)
        for table in self.limits.values():
            yield from ((table.id, f"limits/{table.id}.yml", row.condition) for row in table.rows)

    def live_rules(self) -> Mapping[str, Condition]:
        """Condition by id of every live rule and check that the inference evaluates."""
        kinds = (self.derive, self.evidence, self.cautions, self.policy)
        heads = (rule.head for kind in kinds for rule in kind.values())
        live = {head.id: head.when for head in heads if head.status == "live"}
        return live | {check.id: check.when for check in self.checks.values()}
