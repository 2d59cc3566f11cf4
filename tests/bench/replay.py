"""How many recorded decisions a second a candidate is tried on, by one process and by two."""

from __future__ import annotations

import os
import resource
import sqlite3
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import cycle, islice
from pathlib import Path
from random import Random
from typing import Any

from sqlalchemy.engine import make_url

from tests.bench.decisions import AT, RULES, reports
from tests.triage.payloads import close_out
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import Inputs, decide_inputs, inputs_as_data
from triage.records.decision import Decision
from triage.records.decision_json import as_json
from triage.records.payloads import Decided, Payload, Reported
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_with_files, version_of
from triage.rulebook_care.release.piece import ReplayJob
from triage.rulebook_care.release.replay import replay
from triage.rulebook_care.release.runners import processes
from triage.store import Store, open_store

LARGE = 200_000
AIM_SECONDS = 300
AIM = LARGE / AIM_SECONDS
"""Decisions a second that replay 200,000 in five minutes."""

CHANGED = "evidence/filter-overdue.yml"

ORIGINALS = 2_000
"""Reports that are really decided; further ones are copies of these under other ticket numbers."""


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
    changed: int
    scored: int
    most_mb: float  # of memory, the largest process

    @property
    def per_second(self) -> float:
        return self.decisions / self.seconds

    @property
    def per_cpu_second(self) -> float:
        return self.decisions / self.cpu_seconds


def replay_speeds(decisions: int = 10_000, jobs_tried: tuple[int, ...] = (1, 2)) -> Iterator[ReplaySpeed]:
    """Variations of the default rulebook's whole reports, replayed under a slightly changed rulebook."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        store = open_store(url)
        try:
            baseline, candidate = _record(store, decisions)
            for jobs in sorted({min(jobs, os.cpu_count() or 1) for jobs in jobs_tried}):
                job = ReplayJob(url, baseline, candidate, None, AT + timedelta(days=1))
                start, worked = time.perf_counter(), _worked()
                found = replay(store, job, processes(jobs))
                seconds = time.perf_counter() - start
                yield ReplaySpeed(
                    decisions=found.tally.decisions,
                    jobs=jobs,
                    seconds=seconds,
                    cpu_seconds=_worked() - worked,
                    changed=found.changed,
                    scored=len(found.tally.scored),
                    most_mb=_most_memory(),
                )
        finally:
            store.close()


def _most_memory() -> float:
    used = [resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return max(used) / 1024


def _worked() -> float:
    """CPU seconds of this process and of those it has started and seen end."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)


def _record(store: Store, decisions: int) -> tuple[str, str]:
    """Keeps both rulebooks and fills the log with `decisions` decisions of the first; the two versions."""
    rulebook, files = read_with_files(RULES)
    changed = _changed(files)
    with store.write() as work:
        for version, kept in ((rulebook.version, files), (version_of(changed), changed)):
            work.rulebooks.keep(version, kept)
    originals = min(decisions, ORIGINALS)
    random = Random(20261120)
    engine = compile_rulebook(rulebook, "plain")
    inputs = list(islice(_inputs(rulebook, random), originals))
    for start in range(0, originals, 500):
        with store.write() as work:
            for number, one in enumerate(inputs[start : start + 500], start):
                news = _events(one, decide_inputs(rulebook, engine, one), random)
                ticket = f"T-{number:06}"
                work.tickets.append(ticket, news, at=AT, who="bench", rulebook=rulebook.version)
    _copy(store, originals, decisions)
    return rulebook.version, version_of(changed)


def _inputs(rulebook: Rulebook, random: Random) -> Iterator[Inputs]:
    """The whole reports, then the same with some of their answers left out, for ever."""
    whole = reports(rulebook)
    yield from whole
    for one in cycle(whole):
        answers = {fact: value for fact, value in one.report.answers.items() if random.random() < 0.8}
        given = one.report_data.get("answers") or {}
        yield replace(
            one,
            report=replace(one.report, answers=answers),
            report_data={**one.report_data, "answers": {fact: given[fact] for fact in answers}},
        )


def _events(inputs: Inputs, decision: Decision, random: Random) -> list[Payload]:
    """A ticket's log; every tenth is closed with a cause drawn by the chances that the decision gave."""
    data = inputs_as_data(inputs)
    news: list[Payload] = [Reported(data["report"]), Decided(as_json(decision), data)]
    if random.random() < 0.1:
        causes = [one.cause for one in decision.causes]
        cause = random.choices(causes, [one.chance for one in decision.causes])[0]
        news.append(close_out(None if cause == "other" else cause))
    return news


def _copy(store: Store, originals: int, decisions: int) -> None:
    """Copies the first tickets and their events under other ids until there are `decisions`."""
    connection = sqlite3.connect(str(make_url(store.url).database))
    with closing(connection):
        connection.execute("PRAGMA synchronous = OFF")  # a scratch database
        for table, column in (("tickets", "id"), ("events", "ticket")):
            names = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
            taken = ", ".join("'T-' || printf('%06d', n)" if name == column else name for name in names)
            connection.execute(
                f"INSERT INTO {table} WITH RECURSIVE copy(n) AS "
                "(SELECT :first UNION ALL SELECT n + 1 FROM copy WHERE n + 1 < :of) "
                f"SELECT {taken} FROM copy JOIN {table} "
                f"ON {table}.{column} = 'T-' || printf('%06d', copy.n % :first) WHERE copy.n < :of",
                {"first": originals, "of": decisions},
            )
            connection.commit()


def _changed(files: Mapping[str, Any]) -> Mapping[str, Any]:
    """One number of one rule is another."""
    rule = files[CHANGED]
    seen_with = {**rule["then"]["seen_with"], "others": 0.41}
    return {**files, CHANGED: {**rule, "then": {"seen_with": seen_with}}}
