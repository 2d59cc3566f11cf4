"""What a rulebook says about money and time: warranty, limits, authorities, rates, parts, hours."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal, TypeAlias

from triage.logic.conditions import AllOf, Condition, FactTest, Scalar, UnaryTest
from triage.rulebook.validity import ALWAYS_VALID, Validity, valid_on

HitPolicy: TypeAlias = Literal["UNIQUE", "FIRST", "PRIORITY", "COLLECT"]


@dataclass(frozen=True, slots=True)
class WarrantyPeriod:
    parts_months: int
    labor_months: int


@dataclass(frozen=True, slots=True)
class WarrantyRisk:
    """Something that puts warranty at risk when it holds. It is said; it never voids warranty by itself."""

    when: Condition
    say: str


@dataclass(frozen=True, slots=True)
class WarrantyTerms:
    id: str
    title: str
    models: frozenset[str]  # empty: every model
    starts: Literal["commissioned", "shipped"]
    cap_months_from_ship: int | None
    periods: Mapping[str, WarrantyPeriod]  # component -> period; "default" for the rest
    risks: tuple[WarrantyRisk, ...]
    claim_needs: tuple[str, ...]
    source: str
    deductible: Decimal = Decimal(0)  # of every claim, what the program pays itself
    valid: Validity = ALWAYS_VALID
    valid_by: Literal["fault", "shipped", "commissioned"] = "fault"  # the day that lies within `valid`


@dataclass(frozen=True, slots=True)
class LimitRow:
    when: Mapping[str, UnaryTest]  # input fact -> test; an input not named is "-"
    then: Mapping[str, Scalar]
    line: int  # in the file, for messages
    valid: Validity = ALWAYS_VALID  # stands in `when` too, as a test of the fact `limit_day`

    @property
    def condition(self) -> Condition:
        """The row's tests as one condition."""
        return AllOf(tuple(FactTest(name, test) for name, test in self.when.items()))


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
    valid: Validity = ALWAYS_VALID


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
    dated: tuple[tuple[str | None, RateAgreement], ...] = ()  # more agreements: contractor, None the default

    @property
    def parties(self) -> tuple[str | None, ...]:
        """Whom there are agreements with; None for the default one."""
        return tuple(dict.fromkeys((None, *self.contractors, *(name for name, _ in self.dated))))

    def of(self, contractor: str | None) -> tuple[RateAgreement, ...]:
        """All agreements with a contractor, or the default ones, whatever their days."""
        first = self.default if contractor is None else self.contractors.get(contractor)
        more = (one for name, one in self.dated if name == contractor)
        return (*(() if first is None else (first,)), *more)

    def agreed(self, contractor: str | None, day: date) -> RateAgreement | None:
        """The agreement of that day, the one that began last of several; None where there is none."""
        return max(valid_on(self.of(contractor), day), key=lambda one: one.valid.first, default=None)

    def agreement(self, contractor: str | None, day: date) -> RateAgreement:
        """The contractor's agreement of that day, else the default of that day, else the first default."""
        return self.agreed(contractor, day) or self.agreed(None, day) or self.default


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
class WordsCase:
    """A sentence, and whether the list hears anything in it."""

    said: str
    heard: bool


@dataclass(frozen=True, slots=True)
class Words:
    """What callers say of a danger (a fact's id) or a symptom, by language; `unless` takes a hearing back."""

    id: str
    title: str
    danger: str | None
    symptom: str | None
    en: tuple[str, ...]
    es: tuple[str, ...]
    unless: tuple[str, ...]
    source: str
    cases: tuple[WordsCase, ...]
    file: str


@dataclass(frozen=True, slots=True)
class MachineModel:
    """What holds for every machine of a model (`models.yml`): record facts by id, and where they are from."""

    title: str
    facts: Mapping[str, Scalar]
    source: str
    failures_a_year: Decimal = Decimal("0.8")  # of the model's fleet
    fleet_years: Decimal = Decimal(1)  # how many years of a machine's own record weigh as much; our estimates


@dataclass(frozen=True, slots=True)
class Tolerances:
    near_certain: float = 0.90  # a cause this likely is taken as known
    chance_over: float = 0.10  # the accepted chance to run over a limit
    question_worth: Decimal = Decimal("0.00")
    mechanism_discount: float = (
        0.20  # n observations of one mechanism count 1 / (1 + discount × (n − 1)) each
    )
    stray_symptom: float = 0.03  # of a fault's symptoms, the share that something else makes; our estimate
    repair_spread: Decimal = Decimal("0.30")  # standard deviation of a repair's hours and parts; our estimate
