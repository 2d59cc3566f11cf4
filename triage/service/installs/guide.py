"""The one-page guide of a machine model, made of the rulebook's own steps, cautions and numbers."""

from collections.abc import Mapping
from dataclasses import dataclass

from triage.logic.conditions import (
    AllOf,
    AnyOf,
    Condition,
    Facts,
    Known,
    NoneOf,
    Truth,
    Unknown,
    all_of,
    any_of,
    evaluate,
    negate,
)
from triage.rulebook.model import Caution, Check, Task
from triage.rulebook.terms import MachineModel
from triage.service.service import Service, one_version
from triage.values.errors import NotFoundError
from triage.values.shown import hint

CARE_CHECKS: Mapping[Task, str] = {"filter": "rinse-filter", "full_clean": "full-clean"}
"""Task -> the check of the rulebook whose steps say how it is done."""


@dataclass(frozen=True, slots=True)
class Guide:
    """`care`: task -> days between, and the check that says how. `said` are the cautions of those checks.

    `stops` are those that stop use on this model; `may` all other checks of a clerk's.
    """

    id: str
    model: MachineModel
    care: Mapping[Task, tuple[int, Check]]
    said: tuple[Caution, ...]
    stops: tuple[Caution, ...]
    may: tuple[Check, ...]


@one_version
def guide(service: Service, model: str) -> Guide:
    """NotFoundError for a model that the rulebook does not have."""
    rulebook = service.rulebook
    known = rulebook.models.get(model)
    if known is None:
        fix = hint(model, rulebook.models, f"; models are {', '.join(rulebook.models)}")
        raise NotFoundError(f'the rulebook has no model "{model[:60]}"{fix}')
    care = {
        task: (rulebook.care.days(task), rulebook.checks[id_])
        for task, id_ in CARE_CHECKS.items()
        if id_ in rulebook.checks
    }
    facts = {"model": model, **known.facts}
    said = dict.fromkeys(id_ for _, check in care.values() for id_ in check.cautions)
    live = {id_: one for id_, one in rulebook.cautions.items() if one.head.status == "live"}
    return Guide(
        model,
        known,
        care,
        tuple(live[id_] for id_ in said if id_ in live),
        tuple(one for one in live.values() if one.stop_use and _later(one.head.when, facts) is not False),
        tuple(
            check
            for id_, check in rulebook.checks.items()
            if check.who == "clerk"
            and id_ not in CARE_CHECKS.values()
            and _later(check.when, facts) is not False
        ),
    )


def _later(condition: Condition, facts: Facts) -> Truth:
    """The condition's value where what is not known yet may become known: None where it can still hold."""
    match condition:
        case AllOf(parts):
            return all_of(_later(part, facts) for part in parts)
        case AnyOf(parts):
            return any_of(_later(part, facts) for part in parts)
        case NoneOf(parts):
            return negate(any_of(_later(part, facts) for part in parts))
        case Known(fact) | Unknown(fact) if fact not in facts:
            return None
    return evaluate(condition, facts)
