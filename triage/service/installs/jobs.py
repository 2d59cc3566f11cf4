"""What is done to an installation, from the plan on; each step is one transaction."""

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from triage.machine.commissioning.recorded import read_care_event
from triage.records.caller import Caller
from triage.records.installs.job import NEXT, Install, Planned, Step
from triage.records.report import Machine
from triage.records.ticket_id import LENGTH, SIGNS
from triage.service.installs.reading import STEPS, StepReader, refuse_elsewhere
from triage.service.installs.view import InstallView, checklist_data, placed, seen_install, view_of
from triage.service.service import Service, one_version
from triage.store import Work
from triage.values.dataclass_json import as_data
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.shown import hint

Data = Mapping[str, Any]
DONE_BY_DESK = frozenset({"promise", "call_back", "cancel"})
"""Steps that an installer does not decide on the own work."""


def can_follow(install: Install) -> tuple[str, ...]:
    """The steps that may come now."""
    return tuple(name for name, (kind, *_) in STEPS.items() if kind in NEXT[install.state])


def install_data(seen: InstallView) -> dict[str, Any]:
    """An installation as JSON data, with its findings and its punch list."""
    return as_data(seen.install) | {
        "install": seen.install.id,
        "next": list(can_follow(seen.install)),
        "trained": [as_data(one) for one in seen.install.trained],
        "findings": [asdict(one) for one in seen.findings],
        "punch_list": [as_data(one) for one in seen.items],
        "photos": seen.photos,
    }


@one_version
def plan(service: Service, data: Data, who: Caller) -> InstallView:
    """`{"site", "model" | "machine", "contractor", "note"}`: a new installation; the survey comes next."""
    reader = StepReader(service, data, ("site", "model", "machine", "contractor", "note"), "an installation")
    with service.store.write() as work:
        site, contractor = reader.site(work), reader.contractor(work, who)
        note, model = reader.words("note"), reader.name(data.get("model"), "/model")
        serial = reader.serial(work, who)
        reader.finish()
        machine = None if serial is None else work.machines.get(serial)
        if machine is None and model is None:
            raise InputError([Problem("name the model, or the machine by its serial", "/model")])
        if machine is not None and model not in (None, machine.model):
            raise InputError([Problem(f"{serial} is of the model {machine.model}, not {model}", "/model")])
        model = machine.model if machine is not None else str(model)
        if service.rulebook.models and model not in service.rulebook.models:
            fix = hint(model, service.rulebook.models, f"; models are {', '.join(service.rulebook.models)}")
            raise InputError([Problem(f'the rulebook has no model "{model}"{fix}', "/model")])
        if machine is not None:
            refuse_elsewhere(work, machine.serial, site, None)
        step = Planned(
            site, model, contractor or (None if machine is None else machine.contractor), serial, note
        )
        return view_of(service, work, _append(service, work, _new_id(work), [step], who))


@one_version
def step(
    service: Service, install_id: str, data: Data, who: Caller, if_version: int | None = None
) -> InstallView:
    """`{"step": …}` and what the step takes; see `STEPS`. ConflictError where it cannot follow now."""
    name = data.get("step")
    if not isinstance(name, str) or name not in STEPS:
        fix = hint(str(name), STEPS, f"; steps are {', '.join(STEPS)}")
        raise InputError([Problem(f'there is no step "{str(name)[:40]}"{fix}', "/step")])
    kind, keys, read = STEPS[name]
    with service.store.write() as work:
        install = seen_install(work, install_id, who)
        if who.role == "technician" and name in DONE_BY_DESK:
            raise ConflictError(f"`{name}` is for the desk; call it")
        if if_version not in (None, install.version):
            raise ConflictError(
                f"{install.id} is at version {install.version}, not {if_version}; read it again"
            )
        if kind not in NEXT[install.state]:
            can = ", ".join(can_follow(install))
            raise ConflictError(
                f"{install.id} is {install.state.replace('_', ' ')}; {name.replace('_', ' ')} cannot come now"
                f"{f'; what can is {can}' if can else ''}"
            )
        reader = StepReader(service, data, ("step", *keys), f"the step {name}")
        news = read(service, work, install, reader, who)
        after = _append(service, work, install.id, news, who)
        if after.state == "live" and after.live_at is not None:
            machine, at = work.machines.get(str(after.machine)), after.live_at
            if install.state != "live":
                site = work.machines.site(after.site)
                _commission(service, work, after, placed(machine, site, after), at, who)
            elif checklist_data(after) != checklist_data(install):
                # in the place of the last, and at its time: it was not cleaned for what is put right
                at += timedelta(microseconds=after.version)
                _commission(service, work, after, machine, at, who)
        return view_of(service, work, after)


def _append(service: Service, work: Work, install_id: str, news: Sequence[Step], who: Caller) -> Install:
    texts = service.rulebook.installation.texts
    return work.installs.append(install_id, news, at=service.now(), who=who.name, texts=texts)


def _new_id(work: Work) -> str:
    while True:
        made = "I-" + "".join(secrets.choice(SIGNS) for _ in range(LENGTH))
        try:
            work.installs.get(made)
        except NotFoundError:
            return made


def _commission(
    service: Service, work: Work, install: Install, machine: Machine, at: datetime, who: Caller
) -> None:
    """The machine is commissioned with this checklist."""
    details = checklist_data(install, at)
    details["trained"] = [f"{len(install.people)} on the register, {install.id}"]  # whose names can be erased
    data = {"kind": "commissioned", "details": details}
    event, after = read_care_event(data, machine, service.now(), who.name)
    work.machines.put_machines([after])
    work.care.add_care(after.serial, [event], service.rulebook.installation.texts)
