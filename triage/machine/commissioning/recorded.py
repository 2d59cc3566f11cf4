"""The commissioning a machine's care log holds: its checklist judged again, and what it says for the rules.

The last line of the kind `commissioned` counts, its details being the installer's checklist. A line whose
details cannot be read as one counts as an empty checklist: all of it is missing, none of it passed.

What a machine's record keeps of its commissioning, as facts for the rules.

Only what was written down becomes a fact. What is missing or failed is counted (`commissioning_missing`,
`commissioning_failed`), so that a rule can speak of it: silence is never read as a pass.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any, cast, get_args

from triage.logic.conditions import Scalar, holds
from triage.machine.commissioning.checklist import Checklist, read_checklist
from triage.machine.commissioning.placement import (
    MOST_BACK,
    Finding,
    Standard,
    slope_back_pct,
)
from triage.machine.commissioning.points import point_findings
from triage.machine.commissioning.set_up import findings
from triage.machine.measures.night_mode import night_mode_hours, night_mode_while_open
from triage.machine.measures.upkeep import SIDES
from triage.records.report import CareEvent, CareKind, Machine, local_date
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError, Problem
from triage.values.plain_data import NotPlain, plain
from triage.values.shown import hint
from triage.values.time_zones import lies_ahead, moment_of


def facts(checklist: Checklist, found: Iterable[Finding]) -> dict[str, Scalar]:
    """The facts of a checklist by id, and of its `findings` how many lines are missing or failed.

    `dedicated_circuit`, `extension_cord`, `bolt_removed`, `tilted_back` (flags), `circuit_amps`,
    `clearance_behind_in`, `clearance_left_in`, `clearance_right_in` (inches), `slope_back_pct`, `seal_style`,
    `seal_mounting`, `night_mode_hours`, `night_mode_open_hours` (the most of any night).
    """
    slope, window = slope_back_pct(checklist), checklist.night_mode
    results = [finding.result for finding in found]
    values: dict[str, Scalar | None] = {
        "dedicated_circuit": checklist.circuit.dedicated,
        "circuit_amps": checklist.circuit.amps,
        "extension_cord": checklist.circuit.extension_cord,
        "clearance_behind_in": checklist.clearance.behind_in,
        "clearance_left_in": checklist.clearance.left_in,
        "clearance_right_in": checklist.clearance.right_in,
        "slope_back_pct": slope,
        "tilted_back": None if slope is None else slope > MOST_BACK,
        "bolt_removed": checklist.shipping_bolt_removed,
        "seal_style": checklist.seal.style,
        "seal_mounting": checklist.seal.mounting,
        "night_mode_hours": None if window is None else night_mode_hours(window.start, window.end),
        "night_mode_open_hours": _open_hours(checklist),
        "commissioning_missing": Decimal(results.count("missing")),
        "commissioning_failed": Decimal(results.count("failed")),
    }
    return {name: value for name, value in values.items() if value is not None}


def _open_hours(checklist: Checklist) -> Decimal | None:
    window = checklist.night_mode
    if window is None or checklist.opening is None:
        return None
    hours = night_mode_while_open(window.start, window.end, checklist.opening)
    return max(hours.values(), default=Decimal(0))


def last_checklist(care: Iterable[CareEvent], at: datetime) -> Checklist | None:
    """The checklist of the last commissioning up to `at` (timezone-aware); None when there was none."""
    done = [event for event in care if event.kind == "commissioned" and event.at <= at]
    if not done:
        return None
    return checklist_of(max(done, key=lambda event: event.at).details)


def checklist_of(details: Mapping[str, Any]) -> Checklist:
    """The checklist of a line of the care log; an empty one of what cannot be read as one."""
    try:
        return read_checklist(details)
    except InputError:
        return Checklist()


def standard_for(rulebook: Rulebook, model: str) -> Standard:
    """What a machine of `model` needs: the space of `models.yml`, everything else by common practice."""
    known = rulebook.models.get(model)
    numbers: Mapping[str, Scalar] = {} if known is None else known.facts
    behind, left, right = (numbers.get(f"clearance_need_{side}_in") for side in ("behind", "left", "right"))
    sides = [side for side in (left, right) if isinstance(side, Decimal)]
    return Standard(
        behind_in=behind if isinstance(behind, Decimal) else Standard().behind_in,
        side_in=max(sides, default=Standard().side_in),
    )


def judged(rulebook: Rulebook, machine: Machine, checklist: Checklist) -> tuple[Finding, ...]:
    """Every line of the checklist, judged by the machine's model and its site."""
    site = machine.site
    by_program = findings(
        checklist,
        site_timezone=None if site is None else site.timezone,
        open_around_the_clock=site is not None and site.open_around_the_clock,
        standard=standard_for(rulebook, machine.model),
    )
    return (*by_program, *point_findings(rulebook.installation, checklist.points, machine))


@once_per_rulebook
def judge_of(rulebook: Rulebook) -> str:
    """A digest of all that `judged` goes by besides machine and checklist, this program's code among it."""
    by_model = [(model, standard_for(rulebook, model)) for model in sorted(rulebook.models)]
    told = repr((rulebook.installation.points, by_model, standard_for(rulebook, "")))
    return sha256(_code() + told.encode()).hexdigest()


@cache
def _code() -> bytes:
    digest, here = sha256(), Path(__file__).parent
    for folder in (here, here.parent / "measures"):
        for path in sorted(folder.glob("*.py")):
            digest.update(path.read_bytes())
    return digest.digest()


def facts_on_record(
    rulebook: Rulebook, machine: Machine, care: Iterable[CareEvent], at: datetime
) -> dict[str, Scalar]:
    """The facts of the last commissioning that the rulebook knows, each within its fact's range."""
    checklist = last_checklist(care, at)
    if checklist is None:
        return {}
    found = facts(checklist, judged(rulebook, machine, checklist))
    for point in rulebook.installation.points.values():
        if point.fact is not None and point.id in (checklist.points or {}):
            found[point.fact] = (checklist.points or {})[point.id]
    return {name: value for name, value in found.items() if _fits(rulebook, name, value)}


def _fits(rulebook: Rulebook, name: str, value: Scalar) -> bool:
    fact = rulebook.facts.get(name)
    return fact is not None and (fact.range is None or holds(fact.range, value))


KINDS = get_args(CareKind)


def read_care_event(
    data: Mapping[str, Any], machine: Machine, now: datetime, by: str
) -> tuple[CareEvent, Machine]:
    """The event, and the machine's record after it: the first commissioning gives the commissioning date.

    The details of `commissioned` are the installer's checklist, whose own time counts where `at` is left out.
    Raises InputError with every problem found.
    """
    problems: list[Problem] = []
    kind = data.get("kind")
    if kind not in KINDS:
        fix = hint(str(kind), KINDS, f"; kinds are {', '.join(KINDS)}")
        problems.append(Problem(f'no kind of care "{kind}"{fix}', "/kind"))
    details = data.get("details") or {}
    if not isinstance(details, Mapping):
        problems.append(Problem("details are an object: name -> value", "/details"))
    else:
        try:
            plain(details)
        except NotPlain as error:
            problems.append(Problem(str(error), "/details"))
        if kind == "fully_cleaned" and details.get("side") not in (None, *SIDES["full_clean"]):
            problems.append(Problem("a side is left or right; leave it out for both", "/details/side"))
    place, said_at = "/at", data.get("at")
    if kind == "commissioned" and not any(problem.pointer == "/details" for problem in problems):
        checked = _checked(details, machine, now, problems)
        if said_at is None and checked:
            place, said_at = "/details/at", details.get("at")
    at = _time(said_at, place, now, machine, problems)
    if problems or at is None:
        raise InputError(problems)
    event = CareEvent(cast(CareKind, kind), at, by, dict(details))
    if event.kind == "commissioned" and machine.commissioned_on is None:
        machine = replace(machine, commissioned_on=local_date(machine, at))
    return event, machine


def _checked(details: Mapping[str, Any], machine: Machine, now: datetime, problems: list[Problem]) -> bool:
    """Whether the details can be read as an installer's checklist; adds the problems."""
    try:
        checklist = read_checklist(details)
    except InputError as error:
        problems.extend(Problem(each.message, f"/details{each.pointer or ''}") for each in error.problems)
        return False
    if checklist.at is not None and (why := refused_time(checklist.at, now)):
        problems.append(Problem(why, "/details/at"))
    if checklist.machine not in (None, machine.serial):
        message = f'the checklist is about "{checklist.machine}", not about "{machine.serial}"'
        problems.append(Problem(message, "/details/machine"))
    return True


def refused_time(at: datetime, now: datetime) -> str:
    """Why a time cannot be when something was done; "" where it can."""
    return "" if lies_ahead(at, now) is None else "this lies in the future; enter care once it is done"


def _time(
    raw: object, place: str, now: datetime, machine: Machine, problems: list[Problem]
) -> datetime | None:
    if raw is None:
        return now
    try:
        at = moment_of(raw if isinstance(raw, str) else "")
    except ValueError as error:
        problems.append(Problem(str(error), place))
        return None
    if (why := refused_time(at, now)) and place != "/details/at":
        problems.append(Problem(why, place))
    if local_date(machine, at) < machine.shipped_on:
        problems.append(Problem(f"the machine was shipped only on {machine.shipped_on}; fix the date", place))
    return at
