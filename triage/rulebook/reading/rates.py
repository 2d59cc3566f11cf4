"""Reads the single files of numbers: rates.yml, parts.yml and service_hours.yml."""

from collections.abc import Mapping

from triage.logic.conditions import Scalar
from triage.rulebook.built_in_facts import BUILTIN_FACTS
from triage.rulebook.fact_values import read_value
from triage.rulebook.reading.problems import Names, read_validity
from triage.rulebook.reading.shapes import ModelsFile
from triage.rulebook.reading.table_shapes import (
    AgreementShape,
    PartsFile,
    RatesFile,
    ServiceHoursFile,
)
from triage.rulebook.terms import (
    DistanceBand,
    MachineModel,
    Part,
    RateAgreement,
    Rates,
    ResponseTime,
    ServiceHours,
    StoreRates,
)
from triage.values.errors import InputError
from triage.values.plain_data import Path


def read_rates(names: Names, file: str, shape: RatesFile) -> Rates:
    """Rate agreements and what time is worth in the store."""
    contractors = {
        name: _agreement(names, file, ("contractors", name), agreement)
        for name, agreement in shape.contractors.items()
    }
    default = _agreement(names, file, ("default",), shape.default)
    store = shape.store.as_record(StoreRates)
    dated = tuple(
        (other.contractor, _agreement(names, file, ("dated", index), other))
        for index, other in enumerate(shape.dated)
    )
    return shape.as_record(Rates, default=default, contractors=contractors, store=store, dated=dated)


def _agreement(names: Names, file: str, path: Path, shape: AgreementShape) -> RateAgreement:
    distances = [band.up_to_km for band in shape.distance_bands]
    for index in range(1, len(distances)):
        if distances[index] <= distances[index - 1]:
            message = "distance bands go up: each `up_to_km` is more than the one before"
            names.problems.at(file, (*path, "distance_bands", index, "up_to_km"), message)
    bands = tuple(band.as_record(DistanceBand) for band in shape.distance_bands)
    valid = read_validity(names.problems, file, path, shape)
    return shape.as_record(RateAgreement, tax_on=frozenset(shape.tax_on), distance_bands=bands, valid=valid)


def read_parts(shape: PartsFile) -> Mapping[str, Part]:
    """The parts by number."""
    return {number: part.as_record(Part, number=number) for number, part in shape.parts.items()}


def read_service_hours(names: Names, file: str, shape: ServiceHoursFile) -> ServiceHours:
    """Service hours; times are real, opening comes before closing, the default priority exists."""
    for day, (opens, closes) in shape.week.items():
        for index, text in enumerate((opens, closes)):
            if not ("00" <= text[:2] <= "23" or text == "24:00") or text[3:] > "59":
                names.problems.at(file, ("week", day, index), f'"{text}" is not a time of day')
        if closes <= opens:
            names.problems.at(file, ("week", day), f"{day} closes at {closes}, not after it opens at {opens}")
    if shape.default_priority not in shape.priorities:
        message = f"priority {shape.default_priority} is not among `priorities`"
        names.problems.at(file, ("default_priority",), message)
    _check_holidays(names, file, shape)
    return shape.as_record(
        ServiceHours,
        week={str(day): (opens, closes) for day, (opens, closes) in shape.week.items()},
        priorities={number: each.as_record(ResponseTime) for number, each in shape.priorities.items()},
    )


def _check_holidays(names: Names, file: str, shape: ServiceHoursFile) -> None:
    import holidays  # slow to import, and only a rulebook that names a country needs it

    if shape.holidays_country is None:
        if shape.holidays_subdivision is not None:
            names.problems.at(file, ("holidays_subdivision",), "a subdivision needs `holidays_country`")
        return
    supported = holidays.list_supported_countries()
    if shape.holidays_country not in supported:
        message = f'"{shape.holidays_country[:20]}" is not a country of the holidays library, such as US'
        names.problems.at(file, ("holidays_country",), message)
    elif shape.holidays_subdivision not in (None, *supported[shape.holidays_country]):
        message = f'"{str(shape.holidays_subdivision)[:20]}" is not a subdivision of {shape.holidays_country}'
        names.problems.at(file, ("holidays_subdivision",), message)


def read_models(names: Names, file: str, shape: ModelsFile) -> Mapping[str, MachineModel]:
    """The models by name; every fact is one of the vocabulary that a record may hold, and its value fits."""
    return {
        name: model.as_record(
            MachineModel, facts=facts_given(names, file, ("models", name, "facts"), model.facts)
        )
        for name, model in shape.models.items()
    }


def facts_given(names: Names, file: str, path: Path, given: Mapping[str, object]) -> Mapping[str, Scalar]:
    """What holds for every machine of a model or of the program; a machine's own record comes before it."""
    found: dict[str, Scalar] = {}
    for fact_id, raw in given.items():
        here = (*path, fact_id)
        fact = names.fact(fact_id, file, here)
        if fact is None:
            continue
        if fact.id in BUILTIN_FACTS or fact.asked_of not in ("record", "technician"):
            message = (
                f'"{fact.id}" is not a fact of a model or of the program; '
                "facts asked of the record or of a technician may stand here"
            )
            names.problems.at(file, here, message, key=True)
            continue
        try:
            found[fact.id] = read_value(fact, raw)
        except InputError as error:
            for problem in error.problems:
                names.problems.at(file, here, problem.message)
    return found
