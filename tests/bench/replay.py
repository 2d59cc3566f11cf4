"""How many recorded decisions a second a candidate is tried on, by one process and by two."""

from __future__ import annotations

import os
import resource
import tempfile
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from tests.bench.decisions import AT, RULES, reports
from triage.decision_json import as_json
from triage.inference import compile_rulebook
from triage.one_report import decide_inputs, inputs_as_data
from triage.rulebook_care.replay import replay
from triage.rulebook_care.replay_runners import processes
from triage.rulebook_care.replay_work import ReplayJob
from triage.rulebook_reader import read_with_files, version_of
from triage.store import Store, open_store
from triage.store.tickets import NewEvent

AIM = 200_000 / 300
"""Decisions a second that replay 200,000 in five minutes."""


@dataclass(frozen=True, slots=True)
class ReplaySpeed:
    """All of the replay, from starting the processes to the scores.

    `cpu_seconds` is what the processes worked; on a machine with other work to do it is less than
    `jobs` times `seconds`.
    """

    decisions: int
    jobs: int
    seconds: float
    cpu_seconds: float

    @property
    def per_second(self) -> float:
        return self.decisions / self.seconds

    @property
    def per_cpu_second(self) -> float:
        return self.decisions / self.cpu_seconds


def replay_speeds(decisions: int = 10_000) -> Iterator[ReplaySpeed]:
    """The default rulebook's whole reports recorded over and over, replayed under a slightly changed one."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        store = open_store(url)
        try:
            baseline, candidate = _record(store, decisions)
            for jobs in sorted({1, min(2, os.cpu_count() or 1)}):
                job = ReplayJob(url, baseline, candidate, None, AT + timedelta(days=1))
                start, worked = time.perf_counter(), _worked()
                found = replay(store, job, processes(jobs))
                seconds = time.perf_counter() - start
                yield ReplaySpeed(found.tally.decisions, jobs, seconds, _worked() - worked)
        finally:
            store.close()


def _worked() -> float:
    """CPU seconds of this process and of those it has started and seen end."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)


def _record(store: Store, decisions: int) -> tuple[str, str]:
    """Keeps both rulebooks and writes the log; the two versions."""
    rulebook, files = read_with_files(RULES)
    changed = _changed(files)
    engine = compile_rulebook(rulebook, "plain")
    payloads: list[dict[str, Any]] = [
        {"decision": as_json(decide_inputs(rulebook, engine, one)), "inputs": inputs_as_data(one)}
        for one in reports(rulebook)
    ]
    with store.write() as work:
        for version, kept in ((rulebook.version, files), (version_of(changed), changed)):
            work.rulebooks.keep(version, kept)
    for start in range(0, decisions, 500):
        with store.write() as work:
            for number in range(start, min(start + 500, decisions)):
                payload = payloads[number % len(payloads)]
                news = [
                    NewEvent("reported", {"report": payload["inputs"]["report"], "machine": None}),
                    NewEvent("decided", payload),
                ]
                work.tickets.append(f"T-{number:06}", news, at=AT, who="bench", rulebook=rulebook.version)
    return rulebook.version, version_of(changed)


def _changed(files: Mapping[str, Any]) -> Mapping[str, Any]:
    """One number of one rule is another."""
    name = next(name for name in sorted(files) if name.startswith("evidence/"))
    rule = files[name]
    seen_with = {**rule["then"]["seen_with"], "others": 0.41}
    return {**files, name: {**rule, "then": {"seen_with": seen_with}}}
