"""The shapes of the rulebook's files: one pydantic model for each kind, strict, unknown keys refused.

They say what may stand in a file and give the JSON Schemas (`barrelwise rulebook schema`) by which an editor
completes and checks. What the words mean together (ids that exist, tests that fit a fact's type, cycles) is
the reader's work.
"""

from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import Field

from triage.logic.unary_tests import FactType
from triage.rulebook.model import Fixer, Harm, Outcome, Skill, Status
from triage.rulebook.reading.installation import InstallationFile
from triage.rulebook.reading.table_shapes import (
    Amount,
    DatedShape,
    Id,
    LimitFile,
    LintOff,
    PartsFile,
    Probability,
    RatesFile,
    ScalarValue,
    ServiceHoursFile,
    Shape,
    Text,
    WarrantyFile,
    When,
)

Spread = Annotated[
    Decimal, Field(ge=0, le=2, description="Standard deviation of a repair's hours and parts; 0.30 is 30 %")
]


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
    mechanism_discount: Annotated[Decimal, Field(ge=0, le=1)] = Decimal("0.20")
    stray_symptom: Probability = Decimal("0.03")
    ops_up_to: Amount | None = None
    reopen_days: Annotated[int, Field(ge=0, le=3650)] = 30
    repair_spread: Spread = Decimal("0.30")
    care: CareShape = CareShape()
    together: list[Annotated[list[Id], Field(min_length=2)]] = []
    facts: dict[Id, ScalarValue] = {}


class FactFile(DatedShape):
    id: Id
    title: Text
    title_es: Text | None = None
    status: Status = "live"
    type: FactType
    unit: str | None = None
    range: str | None = None
    choices: dict[Id, Text] | None = None
    choices_es: dict[Id, Text] | None = None
    ask: Text | None = None
    ask_es: Text | None = None
    help: Text | None = None
    help_es: Text | None = None
    asked_of: Literal["clerk", "technician", "record", "computed"]
    ask_seconds: Annotated[int, Field(ge=1, le=3600)] = 20
    danger: bool = False
    near: bool = True
    lint_off: LintOff = {}


Shares = Annotated[dict[Id, Annotated[Decimal, Field(gt=0)]], Field(min_length=2)]


class SymptomFile(Shape):
    id: Id
    title: Text
    title_es: Text | None = None
    status: Status = "live"
    callers_say: list[Text] = []
    shares: Shares
    together_with: dict[Id, Shares] = {}
    ask_first: Annotated[list[Id], Field(max_length=4)] = []
    source: Text
    lint_off: LintOff = {}


class RepairShape(Shape):
    labor_hours: Annotated[Decimal, Field(ge=0, le=40)]
    parts: dict[str, Annotated[int, Field(ge=1, le=20)]] = {}
    technicians: Annotated[int, Field(ge=1, le=4)] = 1
    skill: Skill = "general"
    spread: Spread | None = None
    by: Fixer = "contractor"


class CauseFile(Shape):
    id: Id
    title: Text
    title_es: Text | None = None
    status: Status = "live"
    component: Id
    repair: RepairShape
    sales_lost: Annotated[
        Decimal,
        Field(
            ge=0, le=1, description="Share of the machine's sales lost meanwhile; 0.5 where it takes one side"
        ),
    ] = Decimal(1)
    why: Text
    source: Text
    lint_off: LintOff = {}


class RuleCaseShape(Shape):
    facts: dict[str, ScalarValue | list[str]] = {}
    fires: bool
    note: str = ""


class RuleHeadShape(DatedShape):
    id: Id
    title: Text
    status: Status
    owner: Text
    since: Annotated[date | None, Field(json_schema_extra={"deprecated": True})] = None
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
    mechanism: Id | None = None


class CautionThen(Shape):
    text: Text
    text_es: Text | None = None
    stop_use: bool = False
    forbids: list[Id] | Literal["all"] = []
    visit_skill: Skill | None = None
    visit_priority: Annotated[int, Field(ge=1, le=9)] | None = None
    harm: Harm | None = None
    defers_to: list[Text] = []
    first: list[Id] = []
    alone: bool = False


class CautionFile(RuleHeadShape):
    """With `with_checks: true` it is said beside the checks that name it, and needs no `when`."""

    title_es: Text | None = None
    with_checks: bool = False
    when: When = {}
    cases: list[RuleCaseShape] = []
    then: CautionThen


class CheckFile(DatedShape):
    id: Id
    title: Text
    title_es: Text | None = None
    status: Status = "live"
    when: When
    who: Literal["clerk", "technician"]
    minutes: Annotated[int, Field(ge=1, le=480)]
    wait_minutes: Annotated[int, Field(ge=0, le=2880)] = 0
    resolves: Annotated[dict[Id, Annotated[Decimal, Field(gt=0, le=1)]], Field(min_length=1)]
    cautions: list[Id] = []
    steps: Annotated[list[Text], Field(min_length=1)]
    steps_es: list[Text] | None = None
    look_for: Text
    look_for_es: Text | None = None
    materials: Amount = Decimal("0.00")
    near: bool = True
    why: Text
    source: Text
    lint_off: LintOff = {}


class PolicyThen(Shape):
    outcome: Outcome
    priority: Annotated[int, Field(ge=0, le=1000)]
    text: Text
    text_es: Text | None = None
    visit_priority: Annotated[int, Field(ge=1, le=9)] | None = None


class PolicyFile(RuleHeadShape):
    then: PolicyThen


class ModelShape(Shape):
    title: Text
    facts: Annotated[dict[Id, ScalarValue], Field(min_length=1)]
    source: Text
    failures_a_year: Annotated[Decimal, Field(gt=0, le=52)] = Decimal("0.8")
    fleet_years: Annotated[Decimal, Field(gt=0, le=1000)] = Decimal(1)


class ModelsFile(Shape):
    """models.yml; it may be left out"""

    models: Annotated[
        dict[Annotated[str, Field(min_length=1, max_length=64)], ModelShape], Field(min_length=1)
    ]


class WholeCaseFile(Shape):
    id: Id
    title: Text
    status: Status = "live"
    report: dict[str, Any]
    machine: dict[str, Any] | None = None
    expect: dict[str, Any]
    baseline: bool = False


class WordsCaseShape(Shape):
    said: Text
    heard: bool


class WordsFile(Shape):
    """What callers say: phrases that raise a danger's fact, or point to a symptom."""

    id: Id
    title: Text
    status: Status = "live"
    danger: Id | None = None
    symptom: Id | None = None
    en: list[Text] = []
    es: list[Text] = []
    unless: list[Text] = []
    source: Text
    cases: Annotated[list[WordsCaseShape], Field(min_length=2)]
    lint_off: LintOff = {}


KINDS: dict[str, type[Shape]] = {
    "facts": FactFile,
    "symptoms": SymptomFile,
    "causes": CauseFile,
    "derive": DeriveFile,
    "evidence": EvidenceFile,
    "cautions": CautionFile,
    "checks": CheckFile,
    "policy": PolicyFile,
    "warranty": WarrantyFile,
    "limits": LimitFile,
    "words": WordsFile,
    "cases": WholeCaseFile,
}
"""Folder -> the shape of each file in it."""

SINGLES: dict[str, type[Shape]] = {
    "rulebook.yml": ManifestFile,
    "rates.yml": RatesFile,
    "parts.yml": PartsFile,
    "service_hours.yml": ServiceHoursFile,
    "models.yml": ModelsFile,
    "installation.yml": InstallationFile,
}
"""File in the rulebook's own folder -> its shape."""

OPTIONAL = frozenset({"models.yml", "installation.yml"})
"""Of the single files, those that a rulebook may do without."""
