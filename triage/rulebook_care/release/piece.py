"""The work of a replay: one piece of the log decided again. The same function runs here, in other processes
and on a cluster; everything it needs is named by value, and read from the database without writing to it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from math import prod
from typing import Any
from zlib import crc32

from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import decide_inputs, inputs_from_data
from triage.decide.under_later_rules import fitted, fitted_machine
from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook
from triage.rulebook_care.release.losses import kept_rulebook
from triage.rulebook_care.release.outcome_view import Seen, seen_in, seen_in_json
from triage.rulebook_care.release.scoring import BY_ITSELF, Score, score_of_all
from triage.rulebook_care.release.tally import Tally
from triage.store import Store, open_store
from triage.store.tables.replay_runs import Key, RecordedDecision
from triage.values.errors import InputError

ENGINE = "plain"
"""The engine that verifies the others; it cannot crash a worker."""


@dataclass(frozen=True, slots=True)
class ReplayJob:
    """What is replayed: the decisions from `since` until `until`, under two kept versions of the rulebook."""

    database: str  # a SQLAlchemy URL that every worker can reach
    baseline: str
    candidate: str
    since: datetime | None
    until: datetime
    share: int = 100  # percent of the tickets, always the same ones

    def takes(self, ticket: str) -> bool:
        """Whether a ticket is among those that are decided again."""
        return crc32(ticket.encode()) % 100 < self.share


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of the log: `count` decisions from key `first` to key `last`."""

    number: int
    first: Key
    last: Key
    count: int


@dataclass(frozen=True, slots=True)
class Ready:
    """A rulebook that can decide."""

    rulebook: Rulebook
    engine: Engine

    def decide(self, inputs: Mapping[str, Any]) -> Seen:
        """What this rulebook does not know is left out of the report and the machine's record.

        Raises InputError where the report cannot be read with this rulebook even so.
        """
        try:
            read = inputs_from_data(inputs, self.rulebook)
        except InputError:
            report, _ = fitted(inputs["report"], self.rulebook)
            machine = inputs["machine"] and fitted_machine(inputs["machine"], self.rulebook)
            read = inputs_from_data({**inputs, "report": report, "machine": machine}, self.rulebook)
        return seen_in(
            decide_inputs(self.rulebook, self.engine, read, ask=False), _results(inputs, "not_cured")
        )


def replay_piece(job: ReplayJob, piece: Piece) -> dict[str, Any]:
    """The tally of one piece, as JSON data; nothing is written."""
    store = _store(job.database)
    return replay_in(store, job, piece, _kept(job.database, job.baseline), _kept(job.database, job.candidate))


def replay_in(
    store: Store, job: ReplayJob, piece: Piece, baseline: Ready, candidate: Ready
) -> dict[str, Any]:
    """`replay_piece` with a store that is open and rulebooks that are ready."""
    with store.read() as work:
        recorded = work.recorded.between(piece.first, piece.last, job.since, job.until)
        taken = (one for one in recorded if job.takes(one.key[0]))
        return tally_of(taken, baseline, candidate).as_data()


def _results(inputs: Mapping[str, Any], result: str) -> list[str]:
    """The checks of the report with this result."""
    return [done["check"] for done in inputs["report"].get("checks") or () if done["result"] == result]


def score_of(one: RecordedDecision, seen: Seen, rulebook: Rulebook) -> Score | None:
    """What a rulebook's decision said of all that was seen of a closed ticket; None where nothing was."""
    if one.closed is None:
        return None
    cured = _results(one.inputs, "cured")
    if not cured and one.closed.cured_by in rulebook.checks:
        cured = [one.closed.cured_by]
    if one.closed.cause is None and not cured and not _results(one.inputs, "not_cured"):
        return None
    cures = {
        cause: max(BY_ITSELF, 1.0 - prod(1.0 - _cures(rulebook, check, cause) for check in cured))
        for cause in seen.chances
    }
    return score_of_all(seen.chances, seen.unfixed, cures if cured else None, one.closed.cause)


def _cures(rulebook: Rulebook, check: str, cause: str) -> float:
    return float(rulebook.checks[check].resolves.get(cause, 0.0)) if check in rulebook.checks else 0.0


def tally_of(recorded: Iterable[RecordedDecision], baseline: Ready, candidate: Ready) -> Tally:
    """Decides all again. What the baseline's own version decided stands as it was recorded."""
    tally = Tally()
    for one in recorded:
        try:
            before = (
                seen_in_json(one.decision, _results(one.inputs, "not_cured"))
                if one.rulebook == baseline.rulebook.version
                else baseline.decide(one.inputs)
            )
        except InputError:  # an older rulebook knew more than today's; compare with what was said then
            before = seen_in_json(one.decision, _results(one.inputs, "not_cured"))
        try:
            after = candidate.decide(one.inputs)
            ours = score_of(one, before, baseline.rulebook)
            theirs = score_of(one, after, candidate.rulebook)
            both = None if ours is None or theirs is None else (ours, theirs)
            tally.count(one, before, after, scores=both)
        except InputError as error:
            tally.count(one, before, None, str(error.told[0]))
    return tally


def ready(rulebook: Rulebook) -> Ready:
    return Ready(rulebook, compile_rulebook(rulebook, ENGINE))


def kept(store: Store, version: str) -> Ready:
    """A rulebook that is stored, ready to decide. Raises NotFoundError."""
    return ready(kept_rulebook(store, version))


@lru_cache(maxsize=2)
def _store(database: str) -> Store:
    return open_store(database, read_only=True)


@lru_cache(maxsize=4)
def _kept(database: str, version: str) -> Ready:
    return kept(_store(database), version)
