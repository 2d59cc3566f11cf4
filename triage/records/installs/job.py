"""An installation as the fold of its events: planned, dated, counted, filled in, live or called back.

Events are facts about the past and are never changed. `NEXT` says which may follow in which state; what each
carries stands in its class here, as it is stored. A class grows only by fields with a default.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any, ClassVar, Literal, TypeAlias, get_args

from triage.values.dataclass_json import from_data

State: TypeAlias = Literal["planned", "dated", "in_work", "call_back", "live", "canceled"]
STATES: tuple[State, ...] = get_args(State)
Answers: TypeAlias = Mapping[str, Any]
"""What was written down, by its line in the checklist, such as "circuit/volts"; as JSON holds it."""


@dataclass(frozen=True, slots=True)
class Planned:
    kind: ClassVar[str] = "planned"
    site: str
    model: str
    contractor: str | None = None
    machine: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Filled:
    """Points of a stage (survey, set_up, hand_over); null takes an answer back."""

    kind: ClassVar[str] = "filled"
    stage: str
    answers: Answers


@dataclass(frozen=True, slots=True)
class Dated:
    """When who comes. `free`: a call-back, at no charge to the program."""

    kind: ClassVar[str] = "dated"
    at: datetime
    minutes: int
    contractor: str
    technician: str = ""
    free: bool = False


@dataclass(frozen=True, slots=True)
class Counted:
    """What was in the boxes, by the kit's ids, and the serial on the plate where it was not known before."""

    kind: ClassVar[str] = "counted"
    counts: Mapping[str, int]
    machine: str | None = None


@dataclass(frozen=True, slots=True)
class Trained:
    """`people` learned `topics` from `by`; whoever signed was `watched` as one side was set up."""

    kind: ClassVar[str] = "trained"
    people: tuple[str, ...]
    topics: tuple[str, ...]
    by: str
    signed: str
    watched: bool


@dataclass(frozen=True, slots=True)
class Promised:
    """An open item that does not block is to be put right by another day."""

    kind: ClassVar[str] = "promised"
    point: str
    until: date
    why: str


@dataclass(frozen=True, slots=True)
class Finished:
    """The installer says that it is done. `open` are the points that do not pass, `blocking` keep it back."""

    kind: ClassVar[str] = "finished"
    open: tuple[str, ...]
    blocking: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CalledBack:
    """The installation failed: its installer comes again, at no charge."""

    kind: ClassVar[str] = "called_back"
    contractor: str | None
    due: date
    why: str


@dataclass(frozen=True, slots=True)
class Canceled:
    kind: ClassVar[str] = "canceled"
    why: str


Step: TypeAlias = Planned | Filled | Dated | Counted | Trained | Promised | Finished | CalledBack | Canceled
STEPS: Mapping[str, type[Step]] = {each.kind: each for each in get_args(Step)}

NEXT: Mapping[State, frozenset[str]] = {
    "planned": frozenset({"survey", "dated", "canceled"}),
    "dated": frozenset({"survey", "dated", "counted", "canceled"}),
    "in_work": frozenset({"survey", "dated", "counted", "set_up", "trained", "hand_over", "promised"})
    | {"finished", "called_back", "canceled"},
    "call_back": frozenset({"dated", "canceled"}),
    "live": frozenset({"survey", "set_up", "hand_over", "trained", "promised", "called_back"}),
    "canceled": frozenset(),
}
"""State -> what may follow, by stage or kind: the survey before the date, the kit before the set-up."""


def name_of(step: Step) -> str:
    """What a step counts as in `NEXT`."""
    return step.stage if isinstance(step, Filled) else step.kind


@dataclass(frozen=True, slots=True)
class InstallEvent:
    install: str
    seq: int
    at: datetime
    who: str
    step: Step


@dataclass(frozen=True, slots=True)
class Install:
    """The current state. `version` counts the events; `due` is when somebody is to come, or to have come."""

    id: str
    version: int
    state: State
    site: str
    model: str
    contractor: str | None
    machine: str | None
    note: str
    planned_at: datetime
    changed_at: datetime
    answers: Answers = field(default_factory=dict)
    counts: Mapping[str, int] | None = None
    visits: tuple[Dated, ...] = ()
    trained: tuple[Trained, ...] = ()
    promised: Mapping[str, Promised] = field(default_factory=dict)
    called_back: CalledBack | None = None
    live_at: datetime | None = None

    @property
    def visit(self) -> Dated | None:
        """The visit planned last."""
        return self.visits[-1] if self.visits else None

    @property
    def people(self) -> tuple[str, ...]:
        """Who was trained, each once."""
        return tuple(dict.fromkeys(name for each in self.trained for name in each.people))


def fold(install: Install | None, event: InstallEvent) -> Install:
    """The state after one more event. Raises ValueError for one that cannot follow."""
    step = event.step
    if install is None:
        if not isinstance(step, Planned) or event.seq != 1:
            raise ValueError("an installation starts with `planned`, number 1")
        return Install(
            event.install,
            1,
            "planned",
            step.site,
            step.model,
            step.contractor,
            step.machine,
            step.note,
            event.at,
            event.at,
        )
    if event.install != install.id or event.seq != install.version + 1:
        raise ValueError(f"{event.install}/{event.seq} does not follow {install.id}/{install.version}")
    if name_of(step) not in NEXT[install.state]:
        raise ValueError(f"`{name_of(step)}` cannot follow while it is {install.state}")
    return replace(_after(install, step, event.at), version=event.seq, changed_at=event.at)


def _after(install: Install, step: Step, at: datetime) -> Install:
    match step:
        case Filled():
            answers = {**install.answers, **step.answers}
            return replace(install, answers={place: one for place, one in answers.items() if one is not None})
        case Dated():
            again = install.state in ("call_back", "in_work")
            return replace(
                install,
                state="in_work" if again else "dated",
                visits=(*install.visits, step),
                contractor=step.contractor,
            )
        case Counted():
            counts = {**(install.counts or {}), **step.counts}
            return replace(install, state="in_work", counts=counts, machine=step.machine or install.machine)
        case Trained():
            return replace(install, trained=(*install.trained, step))
        case Promised():
            return replace(install, promised={**install.promised, step.point: step})
        case Finished(blocking=()):
            return replace(install, state="live", live_at=at, called_back=None)
        case CalledBack():
            return replace(install, state="call_back", called_back=step)
        case Canceled():
            return replace(install, state="canceled")
        case _:
            return install


def step_from_data(kind: str, data: Mapping[str, Any]) -> Step:
    """The step of a stored event."""
    return from_data(STEPS[kind], data)
