"""A replay: every recorded decision made again under a candidate rulebook, and what that changes.

The baseline is the live version: decisions it made stand as recorded, those of older versions are made
again by it. The log is cut into pieces that a `Runner` does; each finished piece can be kept in a file from
which an interrupted replay goes on. The result does not depend on who did the pieces or in which order.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any, Protocol

from triage.rulebook_care.release.journal import Journal
from triage.rulebook_care.release.losses import joined, losses_between, seen_in_replay
from triage.rulebook_care.release.piece import Piece, ReplayJob
from triage.rulebook_care.release.runners import Runner
from triage.rulebook_care.release.scoring import FEWEST, Compared, compare
from triage.rulebook_care.release.tally import Tally, matrix_data, tally_from_data
from triage.rulebook_care.safety.loss import Loss
from triage.store import Store
from triage.store.tables.replay_runs import Key

PIECE_SIZE = 200
CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Replay:
    """What a replay found. `notes` say how far the evidence reaches; `losses` are by edit."""

    job: ReplayJob
    tally: Tally
    scores: tuple[Compared, ...]
    notes: tuple[str, ...]
    losses: tuple[Loss, ...]

    @property
    def changed(self) -> int:
        """Decisions whose outcome is another."""
        return sum(count for (before, after), count in self.tally.matrix.items() if before != after)


class Kept(Protocol):
    """Finished pieces by number, and where to keep the next."""

    done: Mapping[int, Mapping[str, Any]]

    def write(self, piece: int, tally: Mapping[str, Any]) -> None: ...


def replay(
    store: Store,
    job: ReplayJob,
    run: Runner,
    resume: Path | Kept | None = None,
    progress: Callable[[int, int], None] = lambda done, of: None,
    piece_size: int = PIECE_SIZE,
    weaker: tuple[Loss, ...] | None = None,
) -> Replay:
    """Replays `job`; both its versions are kept in the store. `progress` hears of decisions done, and of all.

    With `resume` pieces are kept in that file, or there; those it holds already are not done again.
    `weaker` are the losses between the rulebooks themselves, where these are not kept in the store.
    """
    with ExitStack() as stack:
        journal: Kept | None
        if isinstance(resume, Path):
            file = stack.enter_context(Journal(resume, job, piece_size))
            journal, job = file, file.job
        else:
            journal = resume
        done: dict[int, Mapping[str, Any]] = {} if journal is None else dict(journal.done)
        pieces = pieces_of(store, job, piece_size)
        of = sum(piece.count for piece in pieces)
        so_far = sum(piece.count for piece in pieces if piece.number in done)
        progress(so_far, of)
        left = [piece for piece in pieces if piece.number not in done]
        for number, tally in run(job, left) if left else ():
            done[number] = tally
            if journal is not None:
                journal.write(number, tally)
            so_far += pieces[number].count
            progress(so_far, of)
    total = Tally()
    for piece in pieces:
        total.add(tally_from_data(done[piece.number]))
    if weaker is None:
        weaker = losses_between(store, job.baseline, job.candidate)
    return summed_up(job, total, weaker)


def pieces_of(store: Store, job: ReplayJob, size: int = PIECE_SIZE) -> tuple[Piece, ...]:
    """The stretches of the log that the job covers, numbered from 0."""
    with store.read() as work:
        return tuple(_cut(work.recorded.keys(job.since, job.until), size))


def _cut(keys: Iterator[Key], size: int) -> Iterator[Piece]:
    number, count = 0, 0
    first: Key | None = None
    last: Key | None = None
    for key in keys:
        if first is None:
            first, count = key, 0
        last, count = key, count + 1
        if count == size:
            yield Piece(number, first, last, count)
            number, first = number + 1, None
    if first is not None and last is not None:
        yield Piece(number, first, last, count)


def summed_up(job: ReplayJob, tally: Tally, weaker: tuple[Loss, ...]) -> Replay:
    """The result of a whole tally, with the scores and their intervals, and all that is lost."""
    scored = tally.scored
    scores = compare([one.baseline for one in scored], [one.candidate for one in scored])
    losses = joined([weaker, seen_in_replay(tally.lost, {loss.edit for loss in weaker})])
    return Replay(job, tally, scores, tuple(_notes(tally, scores)), losses)


def _notes(tally: Tally, scores: tuple[Compared, ...]) -> Iterator[str]:
    count = len(tally.scored)
    if not tally.decisions:
        yield "Nothing was recorded in this time: the replay says nothing about the candidate."
        return
    if not count:
        yield "No closed ticket tells a cause or a check's result: how well the chances fit cannot be told."
        return
    hidden = sum(one.cause is None for one in tally.scored)
    yield (
        f"The log loss is scored on {count} of {tally.tickets} tickets, by all that was seen of each: the "
        "checks that did not fix it, what fixed it, and the cause where it was confirmed "
        f"({count - hidden} tickets). The other measures are of the confirmed causes alone. Assumed: one "
        "fault a ticket, and the store is right where it says that a check fixed it."
    )
    if count < FEWEST:
        yield f"Fewer than {FEWEST} scored tickets: too thin to tell which rulebook fits better."
    elif all(one.verdict == "too thin to tell" for one in scores):
        yield "No measure differs by more than chance: the evidence is too thin to tell which fits better."
    for name, places in (
        ("baseline", [one.baseline.place for one in tally.scored]),
        ("candidate", [one.candidate.place for one in tally.scored]),
    ):
        unnamed = places.count(0)
        if unnamed:
            yield f"The {name} gave no chance by name to the confirmed cause of {unnamed} tickets."


def as_data(found: Replay) -> dict[str, Any]:
    """The result as JSON data; amounts are text in the rulebooks' currency, intervals hold 95 %."""
    tally, job = found.tally, found.job
    change = tally.spend_candidate - tally.spend_baseline
    return {
        "baseline": job.baseline,
        "candidate": job.candidate,
        "since": None if job.since is None else job.since.isoformat(),
        "until": job.until.isoformat(),
        "decisions": tally.decisions,
        "tickets": tally.tickets,
        "changed": found.changed,
        "changed_tickets": tally.changed_tickets,
        "outcomes": _named(matrix_data(tally.matrix)),
        "by_symptom": {name: _named(matrix_data(rows)) for name, rows in sorted(tally.by_symptom.items())},
        "by_site": {name: _named(matrix_data(rows)) for name, rows in sorted(tally.by_site.items())},
        "examples": [
            {"baseline": before, "candidate": after, "tickets": tickets}
            for (before, after), tickets in sorted(tally.examples.items())
        ],
        "expected_spend": {
            "baseline": _money(tally.spend_baseline),
            "candidate": _money(tally.spend_candidate),
            "change": _money(change),
        },
        "visits": {"avoided": tally.visits_avoided, "added": tally.visits_added},
        "safety_lost": [
            {"ticket": lost.key[0], "seq": lost.key[1], "kind": lost.loss.kind, "what": lost.loss.what}
            for lost in tally.lost
        ],
        "losses": [loss.as_data() for loss in found.losses],
        "undecided": [{"ticket": ticket, "seq": seq, "why": why} for ticket, seq, why in tally.undecided],
        "scored_tickets": len(tally.scored),
        "not_scored": dict(sorted(tally.not_scored.items())),
        "scores": [asdict(one) for one in found.scores],
        "notes": list(found.notes),
    }


def _money(amount: Decimal) -> str:
    return f"{amount.quantize(CENT):f}"


def _named(rows: list[list[Any]]) -> list[dict[str, Any]]:
    return [{"baseline": before, "candidate": after, "count": count} for before, after, count in rows]
