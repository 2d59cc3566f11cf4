"""One call played to its end: the clerk answers and does checks as told, or somebody comes.

An authority that is asked says yes after `HOURS_TO_ASK`. A visit finds and fixes every fault; where the van
lacks a part, it is made twice, and the second costs its trip and comes the store's `days_to_visit` later.
Work costs what the typical repair of the true cause costs by the world's rulebook, with the warranty of the
machine. No source: how calls are played is our estimate.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal, TypeAlias

from triage.decide.pipeline import decide
from triage.decide.spending.costs import WorkStart, distance_fee
from triage.decide.spending.repair_costs import job_for
from triage.decide.visit import visit_kit
from triage.logic.engine import Engine
from triage.records.decision import Decision, PlanStep
from triage.records.report import CheckResult, History, Machine, Report, local_date, timezone_of
from triage.rulebook.model import Rulebook
from triage.schedule.service_hours import due_at
from triage.simulation.world import Fault, World

MOST_STEPS = 60
HOURS_TO_ASK = 8
End: TypeAlias = Literal["fixed_in_store", "visit", "swap"]


@dataclass(frozen=True, slots=True)
class Played:
    """How a call ended. `spend` is in the rulebook's currency; `hours` until the machine pours again, weighed
    with the share of sales that the cause takes.

    `danger` says that somebody could be hurt, `unnoticed` that the program never knew it, `met` that the
    clerk was sent to the machine all the same.
    """

    end: End
    spend: Decimal
    visits: int
    hours: float
    danger: bool
    unnoticed: bool
    met: bool


Play: TypeAlias = Callable[[World, Fault, Machine, History, datetime], Played]
"""How a program takes a call of a machine with a fault, reported at a time."""


@dataclass(frozen=True, slots=True)
class ByRulebook:
    """Takes calls as a rulebook says. `engine` is what `compile_rulebook` made of it."""

    rulebook: Rulebook
    engine: Engine

    def __call__(
        self, world: World, fault: Fault, machine: Machine, history: History, at: datetime
    ) -> Played:
        call = _Call(
            self,
            world,
            fault,
            machine,
            history,
            Report(self._known(fault.symptoms), at, answers=world.told(fault)),
        )
        return call.play()

    def _known(self, symptoms: Sequence[str]) -> tuple[str, ...]:
        known = tuple(symptom for symptom in symptoms if symptom in self.rulebook.symptoms)
        return known or (next(iter(self.rulebook.symptoms)),)


def always_send(world: World, fault: Fault, machine: Machine, history: History, at: datetime) -> Played:
    """Whatever the call is, the contractor comes, and carries nothing."""
    priority = world.rulebook.service_hours.default_priority
    unnoticed = bool(fault.dangers) and not world.told(fault)
    return _sent(world, fault, machine, at, priority, {}, unnoticed)


@dataclass(slots=True)
class _Call:
    by: ByRulebook
    world: World
    fault: Fault
    machine: Machine
    history: History
    report: Report
    seconds: float = 0.0
    materials: Decimal = Decimal(0)
    met: bool = False
    left: set[str] = field(default_factory=set)  # causes that nothing has fixed yet

    def play(self) -> Played:
        self.left = set(self.fault.causes)
        for _ in range(MOST_STEPS):
            decision = self._decide()
            if decision.solved:
                return self._fixed(decision)
            if decision.questions:
                self._ask(decision.questions[0].fact)
            elif decision.outcome == "fix_in_store" and decision.plan:
                self._check(decision.plan)
            else:
                return self._send(decision)
        return self._send(decision)

    def _decide(self) -> Decision:
        at = self.report.reported_at
        return decide(self.by.rulebook, self.by.engine, self.report, self.machine, self.history, at)

    def _ask(self, fact: str) -> None:
        said = self.world.answer(self.fault, fact)
        self.seconds += self.by.rulebook.facts[fact].ask_seconds
        if said is None:
            self.report = replace(self.report, unknown=(*self.report.unknown, fact))
        else:
            self.report = replace(self.report, answers={**self.report.answers, fact: said})

    def _check(self, plan: Sequence[PlanStep]) -> None:
        """The first step of the plan; those of its group share one wait, at its end."""
        step = plan[0]
        known = self.by.rulebook.checks[step.check]
        alone = not step.group or len(plan) == 1 or plan[1].group != step.group
        self.seconds += 60 * (known.minutes + (known.wait_minutes if alone else 0))
        self.materials += known.materials
        self.met = self.met or (known.near and self.world.keeps_away(self.fault))
        fixed = self.world.fixed(self.fault, step.check, known.resolves)
        if fixed is None:
            self._note(step.check, "could_not_do")
            return
        self.left -= fixed
        self._note(step.check, "not_cured" if self.left else "cured")

    def _note(self, check: str, result: Literal["cured", "not_cured", "could_not_do"]) -> None:
        self.report = replace(self.report, checks=(*self.report.checks, CheckResult(check, result)))

    def _unnoticed(self, decision: Decision) -> bool:
        return bool(self.fault.dangers) and not decision.dangers

    def _fixed(self, decision: Decision) -> Played:
        hours = self.seconds / 3600 * share_lost(self.world, self.fault)
        danger = bool(self.fault.dangers)
        return Played("fixed_in_store", self.materials, 0, hours, danger, self._unnoticed(decision), self.met)

    def _send(self, decision: Decision) -> Played:
        begun = self.report.reported_at + timedelta(seconds=self.seconds)
        if decision.outcome == "hold":
            begun += timedelta(hours=HOURS_TO_ASK)
        rulebook, machine = self.by.rulebook, self.machine
        day = local_date(machine, begun)
        kit = visit_kit(rulebook, decision.causes, day, machine.contractor).parts
        unnoticed = self._unnoticed(decision)
        played = _sent(self.world, self.fault, machine, begun, decision.priority, kit, unnoticed)
        waited = (begun - self.report.reported_at) / timedelta(hours=1) * share_lost(self.world, self.fault)
        if decision.outcome == "swap":
            played = replace(played, end="swap", spend=rulebook.rates.swap_cost, visits=1)
        spend, hours = played.spend + self.materials, played.hours + waited
        return replace(played, spend=spend, hours=hours, met=self.met)


def share_lost(world: World, fault: Fault) -> float:
    """The share of a machine's sales that its faults take."""
    causes = world.rulebook.causes
    return max(float(causes[cause].sales_lost) if cause in causes else 1.0 for cause in fault.causes)


def _sent(
    world: World,
    fault: Fault,
    machine: Machine,
    begun: datetime,
    priority: int,
    kit: Mapping[str, int],
    unnoticed: bool,
) -> Played:
    """A visit ordered at `begun`, and a second one where the first had not the parts."""
    rulebook = world.rulebook
    zone, hours = timezone_of(machine), rulebook.service_hours
    due = due_at(begun, priority, hours, zone)
    late = WorkStart(due, zone) if hours.priorities[priority].clock == "elapsed" else False
    day, reported = local_date(machine, due), local_date(machine, begun)
    spend, needed = Decimal(0), Counter[str]()
    agreement = rulebook.rates.agreement(machine.contractor, day)
    distance = machine.site.distance_km if machine.site is not None else None
    trip = agreement.trip + (distance_fee(agreement, distance) or Decimal(0))
    for cause in fault.causes:
        spend += job_for(rulebook, {cause: 1.0}, machine, late, reported, day).likely
        known = rulebook.causes.get(cause)
        needed.update({} if known is None else known.repair.parts)
    lacking = needed - Counter(kit)
    waited = (due - begun) / timedelta(hours=1)
    if lacking:
        waited += 24 * float(rulebook.rates.store.days_to_visit)
        spend += trip if spend else Decimal(0)
    return Played(
        end="visit",
        spend=spend,
        visits=2 if lacking else 1,
        hours=waited * share_lost(world, fault),
        danger=bool(fault.dangers),
        unnoticed=unnoticed,
        met=False,
    )
