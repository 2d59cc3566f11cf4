"""Reads models.yml: what holds for every machine of a model, as facts of its record."""

from __future__ import annotations

from collections.abc import Mapping

from triage.decide.facts import BUILTIN_FACTS
from triage.logic.conditions import Scalar
from triage.rulebook.fact_values import read_value
from triage.rulebook.model import MachineModel
from triage.rulebook.reading.problems import Names
from triage.rulebook.reading.shapes import ModelsFile
from triage.values.errors import InputError
from triage.values.plain_data import Path


def read_models(names: Names, file: str, shape: ModelsFile) -> Mapping[str, MachineModel]:
    """The models by name; every fact is one of the vocabulary that a record may hold, and its value fits."""
    return {
        name: MachineModel(
            model.title, _facts(names, file, ("models", name, "facts"), model.facts), model.source
        )
        for name, model in shape.models.items()
    }


def _facts(names: Names, file: str, path: Path, given: Mapping[str, object]) -> Mapping[str, Scalar]:
    found: dict[str, Scalar] = {}
    for fact_id, raw in given.items():
        here = (*path, fact_id)
        fact = names.fact(fact_id, file, here)
        if fact is None:
            continue
        if fact.id in BUILTIN_FACTS or fact.asked_of not in ("record", "technician"):
            message = (
                f'"{fact.id}" is not a figure of a model; '
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
