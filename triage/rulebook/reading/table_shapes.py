"""What every shape of a file is made of, and the shapes about money and time: warranty, limits, rates."""

from dataclasses import fields
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field

from triage.rulebook.model import Status
from triage.rulebook.terms import HitPolicy

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

R = TypeVar("R", bound="DataclassInstance")

Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_-]*$", max_length=64)]


Text = Annotated[str, Field(min_length=1, max_length=4000)]


Amount = Annotated[Decimal, Field(ge=0, le=10_000_000, json_schema_extra={"format": "money"})]


Probability = Annotated[Decimal, Field(gt=0, lt=1, json_schema_extra={"format": "share"})]


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

    def as_record(self, kind: type[R], **more: Any) -> R:
        """The record of the fields that are here too, lists as tuples; `more` are others or go before."""
        names = {field.name for field in fields(kind)} & type(self).model_fields.keys() - more.keys()
        values = {name: getattr(self, name) for name in names}
        frozen = {name: tuple(one) if isinstance(one, list) else one for name, one in values.items()}
        return kind(**frozen | more)


class DatedShape(Shape):
    """What holds from a day on, or to a day; both are included."""

    valid_from: date | None = None
    valid_to: date | None = None


class WarrantyPeriodShape(Shape):
    parts_months: Annotated[int, Field(ge=0, le=240)]
    labor_months: Annotated[int, Field(ge=0, le=240)]


class WarrantyRiskShape(Shape):
    when: When
    say: Text
    say_es: Text | None = None


class WarrantyFile(DatedShape):
    id: Id
    title: Text
    status: Status = "live"
    models: list[str] = []
    starts: Literal["commissioned", "shipped"] = "commissioned"
    cap_months_from_ship: Annotated[int, Field(ge=1, le=360)] | None = None
    periods: dict[Id, WarrantyPeriodShape]  # component -> period; "default" is required
    at_risk: list[WarrantyRiskShape] = []
    claim_needs: list[Text] = []
    deductible: Amount = Decimal("0.00")  # of every claim, what the program pays itself
    valid_by: Literal["fault", "shipped", "commissioned"] = "fault"
    source: Text


class AbsenceShape(Shape):
    first: date
    last: date


class AuthorityShape(Shape):
    """`deputies` are other authorities, who speak with this one's ceiling while it is absent."""

    title: Text
    title_es: Text | None = None
    reach: Text
    reach_es: Text | None = None
    up_to: Amount | None = None
    deputies: list[Id] = []
    absent: list[AbsenceShape] = []
    valid_days: Annotated[int, Field(ge=1, le=365)] = 30


class LimitRowShape(DatedShape):
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


class AgreementShape(DatedShape):
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


class OtherAgreementShape(AgreementShape):
    """The agreement with a contractor, or without one the default, for other days."""

    contractor: Id | None = None


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
    dated: list[OtherAgreementShape] = []


class PartShape(Shape):
    title: Text
    title_es: Text | None = None
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
