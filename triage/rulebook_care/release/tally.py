"""Counts of a replay: made piece by piece, written as JSON, and added up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, TypeAlias

from triage.rulebook_care.release.outcome_view import LostSafety, Seen, lost_safety
from triage.rulebook_care.release.scoring import Score
from triage.store.tables.replay_runs import Key, RecordedDecision

Outcomes: TypeAlias = tuple[str, str]
"""(outcome by the baseline, outcome by the candidate)."""

Matrix: TypeAlias = Counter[Outcomes]

NO_DECISION = "no_decision"
NO_SITE = "no site on record"
_COUNTS = ("decisions", "tickets", "changed_tickets", "visits_avoided", "visits_added")
_SUMS = ("matrix", "spend_baseline", "spend_candidate", "lost", "undecided", "scored", "not_scored")
EXAMPLES = 5
"""Tickets named for each change of outcome."""


@dataclass(frozen=True, slots=True)
class Scored:
    """A closed ticket of which a check's result or a confirmed cause is known, and both rulebooks' scores."""

    ticket: str
    cause: str | None
    baseline: Score
    candidate: Score


@dataclass(frozen=True, slots=True)
class Lost:
    """A safety outcome lost, and in which decision."""

    key: Key
    loss: LostSafety


@dataclass(slots=True)
class Tally:
    """Outcomes count decisions; spend, visits and scores count tickets, each by its last decision."""

    decisions: int = 0
    tickets: int = 0
    matrix: Matrix = field(default_factory=Counter)
    by_symptom: dict[str, Matrix] = field(default_factory=dict)
    by_site: dict[str, Matrix] = field(default_factory=dict)
    changed_tickets: int = 0
    examples: dict[Outcomes, list[str]] = field(default_factory=dict)
    spend_baseline: Decimal = Decimal(0)
    spend_candidate: Decimal = Decimal(0)
    visits_avoided: int = 0
    visits_added: int = 0
    lost: list[Lost] = field(default_factory=list)
    undecided: list[tuple[str, int, str]] = field(default_factory=list)  # ticket, number, why
    scored: list[Scored] = field(default_factory=list)
    not_scored: Counter[str] = field(default_factory=Counter)

    def count(
        self,
        recorded: RecordedDecision,
        before: Seen,
        after: Seen | None,
        why: str = "",
        scores: tuple[Score, Score] | None = None,
    ) -> None:
        """One recorded decision; without `after` the candidate gives none, for the reason `why`.

        `scores` are the baseline's and the candidate's of a closed ticket of which something was seen.
        """
        ticket, number = recorded.key
        pair = (before.outcome, NO_DECISION if after is None else after.outcome)
        self.decisions += 1
        self.matrix[pair] += 1
        for symptom in dict.fromkeys(recorded.inputs["report"]["symptoms"]):
            self.by_symptom.setdefault(symptom, Counter())[pair] += 1
        self.by_site.setdefault(_site(recorded), Counter())[pair] += 1
        if pair[0] != pair[1]:
            self._example(pair, [ticket])
        if after is None:
            self.undecided.append((ticket, number, why))
        self.lost += [Lost(recorded.key, loss) for loss in lost_safety(before, after)]
        if recorded.last:
            self._count_ticket(recorded, before, after, scores)

    def _count_ticket(
        self,
        recorded: RecordedDecision,
        before: Seen,
        after: Seen | None,
        scores: tuple[Score, Score] | None,
    ) -> None:
        self.tickets += 1
        self.changed_tickets += after is None or before.outcome != after.outcome
        if after is None:
            self.not_scored["not decided by the candidate"] += 1
            return
        self.spend_baseline += before.spend
        self.spend_candidate += after.spend
        self.visits_avoided += before.visit_priority is not None and after.visit_priority is None
        self.visits_added += before.visit_priority is None and after.visit_priority is not None
        closed = recorded.closed
        if closed is None:
            self.not_scored["open"] += 1
        elif scores is None:
            self.not_scored["closed without a confirmed cause"] += 1
        else:
            self.scored.append(Scored(recorded.key[0], closed.cause, *scores))

    def _example(self, pair: Outcomes, tickets: Iterable[str]) -> None:
        known = self.examples.setdefault(pair, [])
        for ticket in tickets:
            if ticket not in known and len(known) < EXAMPLES:
                known.append(ticket)

    def add(self, other: Tally) -> None:
        """Adds the counts of the piece that follows this one."""
        for name in (*_COUNTS, *_SUMS):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        for mine, theirs in ((self.by_symptom, other.by_symptom), (self.by_site, other.by_site)):
            for name, matrix in theirs.items():
                mine.setdefault(name, Counter()).update(matrix)
        for pair, tickets in other.examples.items():
            self._example(pair, tickets)

    def as_data(self) -> dict[str, Any]:
        """JSON data from which `tally_from_data` makes the same tally."""
        return {
            **{name: getattr(self, name) for name in _COUNTS},
            "matrix": matrix_data(self.matrix),
            "by_symptom": {name: matrix_data(found) for name, found in sorted(self.by_symptom.items())},
            "by_site": {name: matrix_data(found) for name, found in sorted(self.by_site.items())},
            "examples": [[*pair, tickets] for pair, tickets in sorted(self.examples.items())],
            "spend_baseline": str(self.spend_baseline),
            "spend_candidate": str(self.spend_candidate),
            "lost": [[*lost.key, lost.loss.kind, lost.loss.what] for lost in self.lost],
            "undecided": [list(each) for each in self.undecided],
            "scored": [
                [one.ticket, one.cause, *_score_data(one.baseline), *_score_data(one.candidate)]
                for one in self.scored
            ],
            "not_scored": dict(sorted(self.not_scored.items())),
        }


def tally_from_data(data: Mapping[str, Any]) -> Tally:
    """The tally again; floats may have become Decimals on the way."""
    return Tally(
        **{name: data[name] for name in _COUNTS},
        matrix=_matrix(data["matrix"]),
        by_symptom={name: _matrix(rows) for name, rows in data["by_symptom"].items()},
        by_site={name: _matrix(rows) for name, rows in data["by_site"].items()},
        examples={(before, after): list(tickets) for before, after, tickets in data["examples"]},
        spend_baseline=Decimal(data["spend_baseline"]),
        spend_candidate=Decimal(data["spend_candidate"]),
        lost=[Lost((ticket, seq), LostSafety(kind, what)) for ticket, seq, kind, what in data["lost"]],
        undecided=[(ticket, seq, why) for ticket, seq, why in data["undecided"]],
        scored=[
            Scored(row[0], row[1], _score(row[2 : 1 + len(row) // 2]), _score(row[1 + len(row) // 2 :]))
            for row in data["scored"]
        ],
        not_scored=Counter(data["not_scored"]),
    )


def matrix_data(matrix: Matrix) -> list[list[Any]]:
    """Rows of [baseline, candidate, count], in one order."""
    return [[*pair, count] for pair, count in sorted(matrix.items())]


def _matrix(rows: Iterable[Any]) -> Matrix:
    return Counter({(before, after): count for before, after, count in rows})


def _score_data(one: Score) -> tuple[float, float, int, float | None]:
    return one.chance, one.brier, one.place, one.likelihood


def _score(row: Any) -> Score:
    chance, brier, place, *rest = row  # one kept before likelihoods were has none
    likelihood = rest[0] if rest else None
    return Score(float(chance), float(brier), place, None if likelihood is None else float(likelihood))


def _site(recorded: RecordedDecision) -> str:
    machine = recorded.inputs["machine"]
    site = None if machine is None else machine.get("site")
    return NO_SITE if site is None else str(site["id"])
