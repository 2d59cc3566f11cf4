"""By what tickets are listed, as conditions on their rows."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import ColumnElement, exists, false, select

from triage.store.tables.dangers import DangerRow
from triage.store.tables.models import TicketRow
from triage.values.errors import InputError, Problem

FILTERS = (
    *("state", "outcome", "machine", "site", "contractor", "danger"),
    *("priority", "due_before", "changed_since"),
)


def matching(filters: Mapping[str, str]) -> list[ColumnElement[bool]]:
    wrong = [
        Problem(f"tickets are not filtered by {name}; use {', '.join(FILTERS)}", f"query:{name}")
        for name in filters
        if name not in FILTERS
    ]
    if wrong:
        raise InputError(wrong)
    return [_holds(name, value) for name, value in filters.items()]


def _holds(name: str, value: str) -> ColumnElement[bool]:
    match name:
        case "danger":
            return _in_danger(value)
        case "priority":
            return TicketRow.priority == int(value)
        case "due_before":
            return TicketRow.due_at < datetime.fromisoformat(value)
        case "changed_since":
            return TicketRow.changed_at >= datetime.fromisoformat(value)
    # Nothing is named by what cannot be printed; some databases refuse to be asked.
    return getattr(TicketRow, name) == value if value.isprintable() else false()


def _in_danger(wanted: str) -> ColumnElement[bool]:
    """Whether a danger stands open on the ticket or its machine; `wanted` is "true" or "false"."""
    here = TicketRow.id.in_(select(DangerRow.ticket))
    if wanted == "true":
        return here | TicketRow.machine.in_(select(DangerRow.machine))
    return ~here & ~exists().where(DangerRow.machine == TicketRow.machine)
