"""A ticket's last decision made again: as it was made, to the bit, or with something changed.

Nothing is stored. A rulebook of edited files is read, compiled and asked in a child process with limits.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from triage.decide.causes.inference import compile_rulebook
from triage.records import payloads
from triage.records.caller import Caller
from triage.records.ticket import Ticket
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.editing.sandbox import try_in_child
from triage.service.changes import seen_ticket
from triage.service.live_rulebook import Serving
from triage.service.rulebooks import files_of, kept_version
from triage.service.service import Service
from triage.values.errors import InputError, Problem
from triage.values.json_text import from_json, to_json
from triage.what_if.changes import Changes, changes_as_data
from triage.what_if.diff import DecisionChange, decision_changes
from triage.what_if.redecide import Explanation, Redecided, compared, decided, decided_by_files, explain_again

Data = Mapping[str, Any]

SECONDS = 20.0
MEMORY_MB = 1536


@dataclass(frozen=True, slots=True)
class Rules:
    """The rulebook on the other side. Without anything, the one the ticket is compared with.

    `version` is a kept one, by its first digits. `texts` are edited files as YAML (None: taken out) over it;
    `whole` says that they are a rulebook by themselves.
    """

    version: str | None = None
    texts: Mapping[str, str | None] = field(default_factory=dict)
    whole: bool = False


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Both decisions and what changes. `as_recorded`: `before` is what the log says, but for wording."""

    ticket: Ticket
    before: Data
    after: Data
    changed: tuple[DecisionChange, ...]
    turning: Data | None
    as_recorded: bool

    def as_data(self) -> dict[str, Any]:
        """JSON data, the same at every door."""
        return {
            "ticket": self.ticket.id,
            "as_recorded": self.as_recorded,
            "before": self.before,
            "after": self.after,
            "changed": bool(self.changed),
            "words": [each.words for each in self.changed],
            "changes": [each.as_data() for each in self.changed],
            "turning_points": self.turning,
        }


def explain(service: Service, ticket_id: str, viewer: Caller | None = None) -> Explanation:
    """The ticket's last decision made again with its own rulebook, and whether it is identical."""
    with service.store.read() as work:
        ticket = seen_ticket(work, ticket_id, viewer)
        decided = [event for event in work.tickets.events(ticket.id) if event.kind == "decided"]
        return explain_again(ticket, decided[-1], work.rulebooks.files, service.compile)


def what_if(
    service: Service,
    ticket_id: str,
    changes: Changes,
    viewer: Caller | None,
    base: Literal["own", "live"] = "own",
    rules: Rules | None = None,
    turning: bool = False,
) -> WhatIf:
    """The ticket's last decision, by its own rulebook or by the live one, and the same after changes.

    Raises NotFoundError for a ticket that is not this viewer's to see and for a rulebook that is not kept,
    InputError for changes and edits that cannot be used.
    """
    rules = rules or Rules()
    with service.one_version() as serving:
        with service.store.read() as work:
            ticket = seen_ticket(work, ticket_id, viewer)
            event = [event for event in work.tickets.events(ticket.id) if event.kind == "decided"][-1]
        assert isinstance(event.payload, payloads.Decided)
        recorded = event.payload.inputs
        own = serving if base == "live" else _kept(service, serving, event.rulebook)
        before = decided(own.rulebook, own.engine, recorded, Changes(), ticket.id)
        other = own
        if rules.version is not None:
            other = _kept(service, serving, kept_version(service, rules.version))
        if rules.texts:
            base_files = {} if rules.whole else files_of(service, other.rulebook.version)
            after = _by_files(
                base_files, rules.texts, other.engine.name, recorded, changes, ticket.id, turning
            )
        else:
            after = decided(other.rulebook, other.engine, recorded, changes, ticket.id, turning)
    same = not compared(event.payload.decision, before.decision)[0]
    titles = {**before.titles, **after.titles}
    changed = decision_changes(before.decision, after.decision, titles)
    return WhatIf(ticket, before.decision, after.decision, changed, after.turning, same)


def _kept(service: Service, serving: Serving, version: str) -> Serving:
    if version == serving.rulebook.version:
        return serving
    rulebook = rulebook_from_data(files_of(service, version), version)
    return Serving(rulebook, compile_rulebook(rulebook, serving.engine.name))


def _by_files(
    base: Data,
    texts: Mapping[str, str | None],
    engine: str,
    recorded: Data,
    changes: Changes,
    ticket: str,
    turning: bool,
) -> Redecided:
    unknown = [file for file, text in texts.items() if text is None and file not in base]
    if unknown:
        raise InputError([Problem("there is no such file to take out", file=file) for file in unknown])
    order = {
        "base": dict(base),
        "texts": dict(texts),
        "engine": engine,
        "inputs": dict(recorded),
        "changes": changes_as_data(changes),
        "ticket": ticket,
        "turning": turning,
    }
    found = from_json(try_in_child(decided_by_files, (to_json(order),), SECONDS, MEMORY_MB))
    return Redecided(found["decision"], found["titles"], found["turning"])
