"""A machine's record as an agent reads it at a glance."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.pages.texts import gettext, ngettext, tell
from api.pages.words import date_words
from triage.records.ticket import Ticket
from triage.rulebook.fact_values import write_value
from triage.service import machines
from triage.service.machines import MachineView
from triage.service.service import Service

LAST = 3


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the record; `alarm` marks what the agent should not overlook."""

    title: str
    text: str
    alarm: bool = False


@dataclass(frozen=True, slots=True)
class MachineRecord:
    serial: str
    model: str
    timezone: str
    lines: tuple[Line, ...]
    tickets: tuple[Ticket, ...]


def record_of(
    service: Service,
    view: MachineView,
    *,
    limits: Mapping[str, Any] | None = None,
    decision: Mapping[str, Any] | None = None,
) -> MachineRecord:
    """The record; warranty comes from `decision` on a ticket, else from `limits`; the limit from `limits`."""
    machine, site = view.machine, view.machine.site
    on_record = machines.contractors(service).get(machine.contractor or "")
    contractor = machine.contractor if on_record is None else on_record.name
    lines = [Line(gettext("Asset tag"), machine.asset_tag)] if machine.asset_tag else []
    if site is not None:
        where = f"{site.name}, {site.town} ({site.id})" + (f", {site.phone}" if site.phone else "")
        lines.append(Line(gettext("Where"), where))
    lines += _warranty_lines(limits, decision)
    lines += _care_lines(view)
    lines.append(_night_line(view))
    lines.append(Line(gettext("Contractor"), contractor or gettext("none on record"), not contractor))
    lines += _limit_lines(limits, decision)
    return MachineRecord(
        machine.serial,
        machine.model,
        "UTC" if site is None else site.timezone,
        tuple(lines),
        view.tickets[:LAST],
    )


def _warranty_lines(limits: Mapping[str, Any] | None, decision: Mapping[str, Any] | None) -> list[Line]:
    if decision is not None:
        warranty = decision["warranty"]
        part = tell(str(warranty["parts"]["component"]).replace("_", " "))
        text = gettext(
            "%(part)s: parts %(parts)s, labor %(labor)s",
            part=part,
            parts=_side(warranty["parts"]),
            labor=_side(warranty["labor"]),
        )
        return [Line(gettext("Warranty"), text)]
    return _warranty_left(limits or {})


def _warranty_left(limits: Mapping[str, Any]) -> list[Line]:
    """What is still in warranty, by component; the rest in one line."""
    left: dict[str, list[str]] = {}
    for row in limits.get("warranty", ()):
        if row["parts"]["covered"] or row["labor"]["covered"]:
            text = gettext(
                "parts %(parts)s, labor %(labor)s", parts=_side(row["parts"]), labor=_side(row["labor"])
            )
            left.setdefault(text, []).append(tell(str(row["component"]).replace("_", " ")))
    title = gettext("Warranty left")
    if not left:
        return [Line(title, gettext("none"))]
    lines = [f"{', '.join(components)}: {text}" for text, components in left.items()]
    return [Line(title if not place else "", text) for place, text in enumerate(lines)]


def _side(side: Mapping[str, Any]) -> str:
    day = date_words(side["until"]) if side["until"] else None
    if side["covered"]:
        return gettext("until %(day)s", day=day) if day else gettext("covered")
    return gettext("ended %(day)s", day=day) if day else gettext("not covered")


def _care_lines(view: MachineView) -> list[Line]:
    lines = []
    for title, task in (
        (gettext("Air filter"), view.care.filter),
        (gettext("Full clean"), view.care.full_clean),
    ):
        care = None if task is None else task.due
        if care is None or care.days_overdue is None or care.last_on is None or care.due_on is None:
            lines.append(Line(title, gettext("nothing in the care log")))
            continue
        last = date_words(care.last_on)
        if care.days_overdue:
            late = ngettext("%(num)s day overdue", "%(num)s days overdue", care.days_overdue)
            lines.append(Line(title, gettext("%(late)s, last on %(day)s", late=late, day=last), True))
        else:
            due = date_words(care.due_on)
            lines.append(Line(title, gettext("in time, last on %(day)s, due %(due)s", day=last, due=due)))
    return lines


def _night_line(view: MachineView) -> Line:
    hours = view.machine.facts.get("night_mode_hours")
    if hours is None:
        return Line(gettext("Night mode"), gettext("not on record"))
    written = write_value(hours)
    if not written:
        return Line(gettext("Night mode"), gettext("not set"), True)
    return Line(gettext("Night mode"), gettext("%(hours)s hours a night", hours=written))


def _limit_lines(limits: Mapping[str, Any] | None, decision: Mapping[str, Any] | None) -> list[Line]:
    if limits is not None:
        limit, currency = limits["limit"], limits["limit"]["currency"]
    elif decision is not None:
        limit, currency = decision["limit"], decision["currency"]
    else:
        return []
    text = gettext(
        "%(nte)s %(currency)s, of which %(left)s is left; %(spent)s spent in 12 months",
        nte=limit["nte"],
        currency=currency,
        left=limit["headroom"],
        spent=limit["spent_12_months"],
    )
    return [Line(gettext("Limit"), text)]
