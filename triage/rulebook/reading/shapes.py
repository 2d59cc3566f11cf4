"""The shapes of the rulebook's files: one pydantic model for each kind, strict, unknown keys refused.

They say what may stand in a file and give the JSON Schemas (`barrelwise rulebook schema`) by which an editor
completes and checks. What the words mean together (ids that exist, tests that fit a fact's type, cycles) is
the reader's work.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from triage.rulebook.model import FactType, HitPolicy, Outcome, Skill, Status

Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_-]*$", max_length=64)]
Text = Annotated[str, Field(min_length=1, max_length=4000)]
Amount = Annotated[Decimal, Field(ge=0, le=10_000_000)]
Probability = Annotated[Decimal, Field(gt=0, lt=1)]
LintOff = Annotated[
    dict[str, Text], Field(description="Lint code -> the reason why that finding is wanted here")
]
ScalarValue = bool | Decimal | str | date
TestText = Annotated[
    bool | Decimal | str,
    Field(description='A unary test: 15, "> 15", \'"text"\', "[2..6]", "not(1)", "-"'),
]
When = Annotated[
    dict[str, Any],
    Field(
        description="All lines must hold: fact -> unary test; any_of, none_of: lists; known, unknown: facts"
    ),
]


class Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class CareShape(Shape):
    filter_days: Annotated[int, Field(ge=1, le=3650)] = 15
    full_clean_days: Annotated[int, Field(ge=1, le=3650)] = 30


class ManifestFile(Shape):
    """rulebook.yml"""

    title: Text
    currency: Annotated[str, Field(pattern="^[A-Z]{3}$")]
    near_certain: Probability = Decimal("0.90")
    chance_over: Probability = Decimal("0.10")
    question_worth: Amount = Decimal("0.00")
    care: CareShape = CareShape()


class FactFile(Shape):
    id: Id
    title: Text
    type: FactType
    unit: str | None = None
    range: str | None = None
    choices: dict[Id, Text] | None = None
    ask: Text | None = None
    help: Text | None = None
    asked_of: Literal["clerk", "technician", "record", "computed"]
    ask_seconds: Annotated[int, Field(ge=1, le=3600)] = 20
    lint_off: LintOff = {}


class SymptomFile(Shape):
    id: Id
    title: Text
    callers_say: list[Text] = []
    shares: Annotated[dict[Id, Annotated[Decimal, Field(gt=0)]], Field(min_length=2)]
    source: Text
    lint_off: LintOff = {}


class RepairShape(Shape):
    labor_hours: Annotated[Decimal, Field(ge=0, le=40)]
    parts: dict[str, Annotated[int, Field(ge=1, le=20)]] = {}
    technicians: Annotated[int, Field(ge=1, le=4)] = 1
    skill: Skill = "general"


class CauseFile(Shape):
    id: Id
    title: Text
    component: Id
    repair: RepairShape
    why: Text
    source: Text
    lint_off: LintOff = {}


class RuleCaseShape(Shape):
    facts: dict[str, ScalarValue | list[str]] = {}
    fires: bool
    note: str = ""


class RuleHeadShape(Shape):
    id: Id
    title: Text
    status: Status
    owner: Text
    since: date
    why: Text
    source: Text
    when: When
    known_misfires: Text
    cases: Annotated[list[RuleCaseShape], Field(min_length=2)]
    lint_off: LintOff = {}


class DeriveThen(Shape):
    set: Annotated[dict[Id, ScalarValue], Field(min_length=1)]
    otherwise: dict[Id, ScalarValue] = {}


class DeriveFile(RuleHeadShape):
    then: DeriveThen
    priority: int = 0


class EvidenceThen(Shape):
    seen_with: Annotated[dict[Id, Probability], Field(min_length=2)]


class EvidenceFile(RuleHeadShape):
    then: EvidenceThen
    group: Id | None = None
    band: int = 0


class CautionThen(Shape):
    text: Text
    stop_use: bool = False
    forbids: list[Id] | Literal["all"] = []
    visit_skill: Skill | None = None
    visit_priority: Annotated[int, Field(ge=1, le=9)] | None = None
    defers_to: list[Text] = []


class CautionFile(RuleHeadShape):
    """With `with_checks: true` it is said beside the checks that name it, and needs no `when`."""

    with_checks: bool = False
    when: When = {}
    cases: list[RuleCaseShape] = []
    then: CautionThen


class CheckFile(Shape):
    id: Id
    title: Text
    when: When
    who: Literal["clerk", "technician"]
    minutes: Annotated[int, Field(ge=1, le=480)]
    wait_minutes: Annotated[int, Field(ge=0, le=2880)] = 0
    resolves: Annotated[dict[Id, Annotated[Decimal, Field(gt=0, le=1)]], Field(min_length=1)]
    cautions: list[Id] = []
    steps: Annotated[list[Text], Field(min_length=1)]
    look_for: Text
    materials: Amount = Decimal("0.00")
    why: Text
    source: Text
    lint_off: LintOff = {}


class PolicyThen(Shape):
    outcome: Outcome
    priority: Annotated[int, Field(ge=0, le=1000)]
    text: Text
    visit_priority: Annotated[int, Field(ge=1, le=9)] | None = None


class PolicyFile(RuleHeadShape):
    then: PolicyThen


class CoverPeriodShape(Shape):
    parts_months: Annotated[int, Field(ge=0, le=240)]
    labor_months: Annotated[int, Field(ge=0, le=240)]


class CoverRiskShape(Shape):
    when: When
    say: Text


class CoverFile(Shape):
    id: Id
    title: Text
    models: list[str] = []
    starts: Literal["commissioned", "shipped"] = "commissioned"
    cap_months_from_ship: Annotated[int, Field(ge=1, le=360)] | None = None
    periods: dict[Id, CoverPeriodShape]  # component -> period; "default" is required
    at_risk: list[CoverRiskShape] = []
    claim_needs: list[Text] = []
    deductible: Amount = Decimal("0.00")  # of every claim, what the programme pays itself
    source: Text


class AbsenceShape(Shape):
    first: date
    last: date


class AuthorityShape(Shape):
    """`deputies` are other authorities, who speak with this one's ceiling while it is absent."""

    title: Text
    reach: Text
    up_to: Amount | None = None
    deputies: list[Id] = []
    absent: list[AbsenceShape] = []
    valid_days: Annotated[int, Field(ge=1, le=365)] = 30


class LimitRowShape(Shape):
    when: dict[Id, TestText] = {}
    then: dict[Id, ScalarValue]


class LimitFile(Shape):
    id: Id
    title: Text
    kind: Literal["nte", "authority"]
    hit_policy: HitPolicy
    inputs: list[Id]
    outputs: Annotated[list[Id], Field(min_length=1)]
    rows: Annotated[list[LimitRowShape], Field(min_length=1)]
    output_order: list[ScalarValue] = []
    collect: Literal["SUM", "MIN", "MAX"] | None = None
    authorities: dict[Id, AuthorityShape] = {}
    source: Text
    lint_off: LintOff = {}


class DistanceBandShape(Shape):
    up_to_km: Annotated[Decimal, Field(gt=0)]
    fee: Amount


class AgreementShape(Shape):
    trip: Amount
    labor_hour: Amount
    billed_step_minutes: Annotated[int, Field(ge=1, le=240)] = 15
    minimum_minutes: Annotated[int, Field(ge=0, le=480)] = 0
    second_technician_hour: Amount
    after_hours_factor: Annotated[Decimal, Field(ge=1, le=5)] = Decimal("1.5")
    parts_markup: Annotated[Decimal, Field(ge=0, le=5)] = Decimal(0)
    tax: Annotated[Decimal, Field(ge=0, le=1)] = Decimal(0)
    tax_on: list[Literal["trip", "labor", "parts", "freight"]] = []
    freight: Amount = Decimal(0)
    distance_bands: list[DistanceBandShape] = []
    van_kg: Annotated[Decimal, Field(ge=0, le=5000)] | None = None
    van_value: Amount | None = None


class StoreRatesShape(Shape):
    clerk_hour: Amount
    lost_sales_hour: Amount
    open_hours_a_day: Annotated[Decimal, Field(gt=0, le=24)]
    days_to_visit: Annotated[Decimal, Field(ge=0, le=60)]


class RatesFile(Shape):
    """rates.yml"""

    default: AgreementShape
    contractors: dict[Id, AgreementShape] = {}
    store: StoreRatesShape
    swap_cost: Amount


class PartShape(Shape):
    title: Text
    price: Amount
    kg: Annotated[Decimal, Field(ge=0, le=500)]


class PartsFile(Shape):
    """parts.yml"""

    parts: dict[str, PartShape]


class ResponseTimeShape(Shape):
    hours: Annotated[Decimal, Field(gt=0, le=2000)]
    clock: Literal["elapsed", "service"]


DayHours = Annotated[list[Annotated[str, Field(pattern=r"^\d\d:\d\d$")]], Field(min_length=2, max_length=2)]


class ServiceHoursFile(Shape):
    """service_hours.yml"""

    week: dict[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"], DayHours]
    holidays_country: str | None = None
    holidays_subdivision: str | None = None
    priorities: Annotated[dict[int, ResponseTimeShape], Field(min_length=1)]
    default_priority: int


class ModelShape(Shape):
    title: Text
    facts: Annotated[dict[Id, ScalarValue], Field(min_length=1)]
    source: Text


class ModelsFile(Shape):
    """models.yml; it may be left out"""

    models: Annotated[
        dict[Annotated[str, Field(min_length=1, max_length=64)], ModelShape], Field(min_length=1)
    ]


class WholeCaseFile(Shape):
    id: Id
    title: Text
    report: dict[str, Any]
    machine: dict[str, Any] | None = None
    expect: dict[str, Any]
    baseline: bool = False


KINDS: dict[str, type[Shape]] = {
    "facts": FactFile,
    "symptoms": SymptomFile,
    "causes": CauseFile,
    "derive": DeriveFile,
    "evidence": EvidenceFile,
    "cautions": CautionFile,
    "checks": CheckFile,
    "policy": PolicyFile,
    "cover": CoverFile,
    "limits": LimitFile,
    "cases": WholeCaseFile,
}
"""Folder -> the shape of each file in it."""

SINGLES: dict[str, type[Shape]] = {
    "rulebook.yml": ManifestFile,
    "rates.yml": RatesFile,
    "parts.yml": PartsFile,
    "service_hours.yml": ServiceHoursFile,
    "models.yml": ModelsFile,
}
"""File in the rulebook's own folder -> its shape."""

OPTIONAL = frozenset({"models.yml"})
"""Of the single files, those that a rulebook may do without."""
