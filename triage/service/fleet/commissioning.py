"""How machines were commissioned, judged by the live rulebook: once each, and kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager

from triage.machine.commissioning.recorded import checklist_of, judge_of, judged
from triage.records.callers_words import together
from triage.repairs.acting import Calls, Commissioned
from triage.service.service import Service, one_version
from triage.store import Work
from triage.store.summing import summing as beside
from triage.values.json_text import from_json

AT_ONCE = 200
"""So many are read and kept in one transaction."""
MOST = 600
"""So many a request judges by itself; for more it does not wait."""


def judge(service: Service) -> int:
    """Judges what is not judged yet; says how many are left, where many are and a thread does it beside."""
    with service.store.read() as work:
        left = work.judged.count_to_judge(judge_of(service.rulebook))
    if service.store.to_sum is not None and left > MOST:
        service.store.to_sum.set()
        return left
    if left:
        for _ in judging(service):
            pass
    return 0


def judging(service: Service) -> Iterator[str]:
    """Judges all that is not judged yet, some a step."""
    done = _judge_some(service, "")
    while done is not None:
        yield done
        done = _judge_some(service, done)


@one_version
def _judge_some(service: Service, after: str) -> str | None:
    """The next ones by serial; the last of them, None for none. What changes meanwhile is left for the next
    time."""
    rulebook, by = service.rulebook, judge_of(service.rulebook)
    with service.store.read() as work:
        rows = work.judged.to_judge(by, after, AT_ONCE)
        machines = {one.serial: one for one in work.machines.all(serials=[row.serial for row in rows])}
    found = {}
    for serial, told, words in rows:
        _, details = together(["", from_json(told)], from_json(words or "[]"))
        results = [one.result for one in judged(rulebook, machines[serial], checklist_of(details))]
        found[serial] = results.count("missing"), results.count("failed")
    if not rows:
        return None
    with service.store.write() as work:
        now = {one.serial: one for one in work.machines.all(serials=machines)}
        told = set(work.judged.checklists(machines))
        same = [row.serial for row in rows if row in told and now.get(row.serial) == machines[row.serial]]
        work.judged.keep(by, {serial: found[serial] for serial in same})
    return str(rows[-1].serial)


def commissioned(service: Service, work: Work, calls: Mapping[str, Calls]) -> list[Commissioned]:
    """All that are judged, each with its calls."""
    known = work.judged.known(judge_of(service.rulebook))
    none = Calls()
    return [Commissioned(serial, *points, calls.get(serial, none).count) for serial, points in known.items()]


def summing(service: Service) -> AbstractContextManager[None]:
    """Sums days, and judges commissionings, in a thread of its own as long as the block lasts.

    Requests do not wait for many.
    """
    return beside(service.store, lambda: judging(service))
