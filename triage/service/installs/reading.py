"""What each step of an installation takes, read strictly: every problem with its JSON pointer."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

from triage.inputs.heard import hear
from triage.inputs.reader import InputReader
from triage.machine.commissioning import read_checklist
from triage.machine.commissioning.set_up import is_nobody
from triage.records.caller import Caller
from triage.records.installs.job import (
    CalledBack,
    Canceled,
    Counted,
    Dated,
    Filled,
    Finished,
    Install,
    Promised,
    Step,
    Trained,
)
from triage.rulebook.installation import Field
from triage.service.changes import serial_on_record
from triage.service.installs.view import CLOSED, InstallView, checklist_data, view_of
from triage.service.service import Service
from triage.store import Work
from triage.values.errors import ConflictError, InputError, Problem, escaped
from triage.values.shown import hint

Data = Mapping[str, Any]
USUAL_MINUTES, FURTHEST_DAYS = 180, 180
MOST_WORDS, MOST_COUNT = 500, 1000


class StepReader(InputReader):
    """Reads one step's data."""

    def __init__(self, service: Service, data: Data, keys: Sequence[str], what: str) -> None:
        super().__init__(service.rulebook)
        self.data = self.mapping(data, "", keys, what)

    def words(self, key: str, *, needed: bool = False) -> str:
        """A text of people; what tells of a danger is reported as trouble instead, where it is acted on."""
        said = self.text(self.data.get(key), f"/{key}", MOST_WORDS).strip()
        if needed and not said:
            self.problem("write a sentence here", f"/{key}")
        self.refuse_danger(said, f"/{key}")
        return said

    def refuse_danger(self, said: str, pointer: str) -> None:
        if said and hear(self.rulebook, said):
            self.problem("a danger is heard here; report it as trouble first, then go on", pointer)

    def site(self, work: Work) -> str:
        site = self.name(self.data.get("site"), "/site") or ""
        known = {each.id for each in work.machines.sites()}
        if site not in known:
            self.problem(f'there is no site "{site[:60]}"{hint(site, known)}', "/site")
        return site

    def contractor(self, work: Work, who: Caller, otherwise: str | None = None) -> str | None:
        name = self.name(self.data.get("contractor"), "/contractor") or otherwise
        if name is not None and name not in {each.id for each in work.machines.contractors()}:
            self.problem(f'there is no contractor "{name[:60]}"', "/contractor")
        if who.role == "technician" and name != who.contractor:
            self.problem("an installer plans for the own contractor only", "/contractor")
        return name

    def serial(self, work: Work, who: Caller) -> str | None:
        spelled = self.name(self.data.get("machine"), "/machine")
        desk = Caller(who.name, "ops")  # a machine in its box is in nobody's care yet
        return None if spelled is None else self.try_(lambda: serial_on_record(work, spelled, desk))


def _fill(service: Service, work: Work, install: Install, reader: StepReader, who: Caller) -> list[Step]:
    stage, raw = reader.data["step"], reader.data.get("answers")
    points = service.rulebook.installation.of_stage(stage)
    fields = {field.place: field for point in points for field in point.fields}
    answers = reader.mapping(raw, "/answers", fields, "answers")
    for place, value in answers.items():
        if place in fields and value is not None:
            _check(reader, fields[place], value, f"/answers/{escaped(place)}")
    reader.finish()
    if not answers:
        raise InputError([Problem("there is nothing to store; answer at least one point", "/answers")])
    step = Filled(stage, dict(answers))
    merged = {place: one for place, one in {**install.answers, **answers}.items() if one is not None}
    _refuse_unreadable(install, merged, fields)
    return [step]


def _check(reader: StepReader, field: Field, value: object, pointer: str) -> None:
    """The type of a point that the rulebook alone judges; the checklist's own lines are read with it."""
    match field.type:
        case "flag":
            reader.flag(value, pointer)
        case "number":
            reader.number(value, pointer, -1_000_000, 1_000_000)
        case "text":
            reader.refuse_danger(reader.name(value, pointer) or "", pointer)
        case "choice" if value not in field.choices:
            reader.problem(f"choose one of {', '.join(field.choices)}", pointer)
        case "hours" if value == CLOSED:
            pass
        case "hours" if not isinstance(value, list | tuple):
            reader.problem(f'write ["05:30", "23:00"], or "{CLOSED}"', pointer)


def _refuse_unreadable(install: Install, merged: Mapping[str, Any], fields: Mapping[str, Field]) -> None:
    """Raises InputError at the answers that make a checklist which cannot be read."""
    at = {line: place for place, field in fields.items() for line in field.lines()}
    try:
        read_checklist(checklist_data(replace(install, answers=merged)))
    except InputError as error:
        raise InputError(
            Problem(problem.message, f"/answers/{escaped(at.get(line, line))}")
            for problem in error.problems
            for line in [(problem.pointer or "").removeprefix("/")]
        ) from None


def _date(service: Service, work: Work, install: Install, reader: StepReader, who: Caller) -> list[Step]:
    now, free = service.now(), install.state == "call_back"
    at = reader.moment(reader.data.get("at"), "/at")
    if not reader.problems and not now <= at <= now + timedelta(days=FURTHEST_DAYS):
        reader.problem(f"choose a time from now to {FURTHEST_DAYS} days ahead", "/at")
    minutes = reader.data.get("minutes", USUAL_MINUTES)
    if isinstance(minutes, bool) or not isinstance(minutes, int) or not 15 <= minutes <= 720:
        reader.problem("an installation takes 15 to 720 minutes, as a whole number", "/minutes")
    contractor = reader.contractor(work, who, install.contractor)
    technician = reader.words("technician")
    if contractor is None:
        reader.problem("name the contractor that installs it", "/contractor")
    elif free and contractor != install.contractor:
        reader.problem(f"{install.contractor} installed it and comes back", "/contractor")
    reader.finish()
    survey = {point.id for point in service.rulebook.installation.of_stage("survey")}
    open_ = [item.title for item in view_of(service, work, install).blocking if item.point in survey]
    if open_ and not free:
        raise ConflictError(f"the site survey is not done or does not pass: {', '.join(open_)}")
    return [Dated(at, minutes, str(contractor), technician, free)]


def _count(service: Service, work: Work, install: Install, reader: StepReader, who: Caller) -> list[Step]:
    kit = [item.id for item in service.rulebook.installation.kit_of(install.model)]
    counts = reader.mapping(reader.data.get("counts") or {}, "/counts", kit, "counts")
    for name, count in counts.items():
        if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= MOST_COUNT:
            reader.problem("a count is a whole number from 0", f"/counts/{escaped(name)}")
    serial = reader.serial(work, who)
    reader.finish()
    if serial is not None and work.machines.get(serial).model != install.model:
        model = work.machines.get(serial).model
        raise InputError([Problem(f"{serial} is a {model}; planned is a {install.model}", "/machine")])
    if serial is not None:
        refuse_elsewhere(work, serial, install.site, install.id)
    return [Counted(dict(counts), serial)]


def _train(service: Service, work: Work, install: Install, reader: StepReader, who: Caller) -> list[Step]:
    people, topics = trained_people(reader)
    watched = reader.flag(reader.data.get("watched"), "/watched")
    if not watched:
        reader.problem("watch them set up one side before you sign", "/watched")
    by, signed = reader.words("by") or who.name, reader.words("signed", needed=True)
    reader.finish()
    return [Trained(people, topics, by, signed, True)]


def trained_people(reader: StepReader) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Who was trained, and on which topics."""
    people = reader.each(reader.data.get("people"), "/people", reader.name)
    topics = reader.each(reader.data.get("topics"), "/topics", reader.name)
    known = reader.rulebook.installation.topics
    for index, topic in enumerate(topics):
        if topic not in known:
            reader.problem(f'no topic "{topic[:40]}"{hint(topic, known)}', f"/topics/{index}")
    if not people or any(is_nobody(name) for name in people):
        reader.problem("name the people who were trained", "/people")
    if not topics:
        reader.problem(f"say on what, of {', '.join(known)}", "/topics")
    return tuple(dict.fromkeys(people)), tuple(dict.fromkeys(topics))


def _promise(service: Service, work: Work, install: Install, reader: StepReader, who: Caller) -> list[Step]:
    point, until = (
        reader.name(reader.data.get("point"), "/point"),
        reader.day(reader.data.get("until"), "/until"),
    )
    why, seen = reader.words("why", needed=True), view_of(service, work, install)
    open_ = {item.point for item in seen.items if not item.blocks}
    if point not in open_:
        can = ", ".join(sorted(open_)) or "none"
        reader.problem(f"a date is for an open item that does not block; now {can}", "/point")
    if until is None or not seen.today <= until <= seen.today + timedelta(days=FURTHEST_DAYS):
        reader.problem(f"choose a day from today to {FURTHEST_DAYS} days ahead", "/until")
    reader.finish()
    assert point is not None
    assert until is not None
    return [Promised(point, until, why)]


def _finish(service: Service, work: Work, install: Install, reader: StepReader, who: Caller) -> list[Step]:
    if install.machine is None:
        raise ConflictError("the machine's serial is not known yet; give it with the kit")
    refuse_elsewhere(work, install.machine, install.site, install.id)
    seen = view_of(service, work, install)
    done = Finished(tuple(item.point for item in seen.items), tuple(item.point for item in seen.blocking))
    if not seen.blocking:
        return [done]
    why = f"open: {', '.join(item.title for item in seen.blocking)}"
    return [done, _back(service, seen, why)]


def _call_back(service: Service, work: Work, install: Install, reader: StepReader, who: Caller) -> list[Step]:
    why = reader.words("why", needed=True)
    reader.finish()
    return [_back(service, view_of(service, work, install), why)]


def _back(service: Service, seen: InstallView, why: str) -> CalledBack:
    due = seen.today + timedelta(days=service.rulebook.installation.call_back_days)
    return CalledBack(seen.install.contractor, due, why)


def _cancel(service: Service, work: Work, install: Install, reader: StepReader, who: Caller) -> list[Step]:
    why = reader.words("why", needed=True)
    reader.finish()
    return [Canceled(why)]


_Read = Callable[[Service, Work, Install, StepReader, Caller], list[Step]]
STEPS: Mapping[str, tuple[str, tuple[str, ...], _Read]] = {
    "survey": ("survey", ("answers",), _fill),
    "date": (Dated.kind, ("at", "minutes", "contractor", "technician"), _date),
    "kit": (Counted.kind, ("counts", "machine"), _count),
    "set_up": ("set_up", ("answers",), _fill),
    "training": (Trained.kind, ("people", "topics", "by", "signed", "watched"), _train),
    "hand_over": ("hand_over", ("answers",), _fill),
    "promise": (Promised.kind, ("point", "until", "why"), _promise),
    "finish": (Finished.kind, (), _finish),
    "call_back": (CalledBack.kind, ("why",), _call_back),
    "cancel": (Canceled.kind, ("why",), _cancel),
}
"""Step -> the name of what it makes in `NEXT`, what it takes beside its name, and how that is read."""


def refuse_elsewhere(work: Work, serial: str, site: str, own: str | None) -> None:
    """Raises ConflictError for a machine that stands at another site, or is being installed already."""
    machine = work.machines.get(serial)
    if machine.site is not None and machine.site.id != site:
        raise ConflictError(f"{serial} stands at {machine.site.id} by its record; correct that first")
    for other in work.installs.listed({"machine": serial}, 50):
        if other.id != own and other.state not in ("live", "canceled"):
            raise ConflictError(f"{serial} is being installed already, as {other.id}")
