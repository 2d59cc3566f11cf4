"""Closed tickets as the learning needs them, from the records, and how far they stand for all tickets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from triage.decide.causes.inference import infer
from triage.decide.causes.ranking import ranking_tables
from triage.decide.decide_data import Inputs, inputs_from_data
from triage.decide.facts import gather_facts
from triage.machine.measures.measure import calculated
from triage.rulebook_care.learning.learning import ClosedTicket
from triage.rulebook_care.learning.weights import Stratum, stratum, stratum_of
from triage.rulebook_care.release.piece import Ready
from triage.store.tables.replay_runs import RecordedDecision
from triage.values.errors import InputError

FEW_CONFIRMED = 0.5
"""Below this part of its closed tickets confirmed, an outcome is named as hardly seen."""


@dataclass(slots=True)
class Closed:
    """How many closed tickets there are and how many have a confirmed cause, by their last outcome."""

    closed: Counter[str] = field(default_factory=Counter)
    confirmed: Counter[str] = field(default_factory=Counter)
    cured_unconfirmed: Counter[str] = field(default_factory=Counter)  # check -> tickets
    several_symptoms: int = 0
    unreadable: int = 0
    strata: Counter[Stratum] = field(default_factory=Counter)  # of all, where first outcomes are given
    learned: Counter[Stratum] = field(default_factory=Counter)  # of those learned from

    def notes(self, weighted: bool = False) -> Iterator[str]:
        """How the tickets learned from differ from all tickets."""
        shares = (
            "the weights make up for it as far as what they assume is so"
            if weighted
            else "causes that end so are under-counted in the shares"
        )
        total, known = sum(self.closed.values()), sum(self.confirmed.values())
        yield f"Learned from {known} of {total} closed tickets, those with a confirmed cause."
        for outcome, count in sorted(self.closed.items()):
            share = self.confirmed[outcome] / count
            if share < FEW_CONFIRMED:
                yield (
                    f"Bias: of {count} closed tickets that ended as {outcome}, {share:.0%} have a confirmed "
                    f"cause; {shares}."
                )
        for check, count in sorted(self.cured_unconfirmed.items()):
            yield (
                f"Bias: {check} cured {count} {'ticket' if count == 1 else 'tickets'} whose cause was not "
                "confirmed; its cure chances come out too low."
            )
        if self.several_symptoms:
            yield f"{self.several_symptoms} tickets with several symptoms teach nothing about shares."
        if self.unreadable:
            yield f"{self.unreadable} tickets cannot be read with this rulebook and were left out."


def closed_tickets(
    recorded: Iterable[RecordedDecision],
    current: Ready,
    closed: Closed,
    first_outcomes: Mapping[str, str] | None = None,
) -> Iterator[ClosedTicket]:
    """The tickets with a confirmed cause; `closed` counts all.

    With `first_outcomes` (ticket -> outcome of its first decision) they say theirs, as weights need it.
    `recorded` are the last decisions of closed tickets. What was shown is asked of `current`, the rulebook
    that is to learn, whichever decided.
    """
    for one in recorded:
        cause, cured_by = (None, None) if one.closed is None else (one.closed.cause, one.closed.cured_by)
        outcome = one.decision["outcome"]
        closed.closed[outcome] += 1
        first = None if first_outcomes is None else first_outcomes[one.key[0]]
        if first is not None:
            closed.strata[stratum(one.inputs["report"]["symptoms"], first)] += 1
        if cause is None:
            if cured_by in current.rulebook.checks:
                closed.cured_unconfirmed[str(cured_by)] += 1
            continue
        closed.confirmed[outcome] += 1
        try:
            inputs = inputs_from_data(one.inputs, current.rulebook)
            ticket = _ticket(inputs, cause, cured_by, current, first)
        except InputError:
            closed.unreadable += 1
            continue
        closed.several_symptoms += len(ticket.symptoms) > 1
        if first is not None:
            closed.learned[stratum_of(ticket)] += 1
        yield ticket


def _ticket(
    inputs: Inputs, cause: str, cured_by: str | None, current: Ready, first_outcome: str | None
) -> ClosedTicket:
    rulebook, report = current.rulebook, inputs.report
    gathered = gather_facts(rulebook, report, inputs.machine, inputs.history, inputs.at)
    facts, _ = calculated(rulebook, gathered)
    inference = infer(rulebook, current.engine, {name: known.value for name, known in facts.items()})
    shown: dict[str, bool] = {}
    for observation in ranking_tables(rulebook).observations:
        state = observation.seen(inference.evidence)
        if state is not None:
            shown |= {rule: index == state for index, rule in enumerate(observation.rules)}
    cured = {
        done.check: done.result == "cured" for done in report.checks if done.result in ("cured", "not_cured")
    }
    if cured_by in rulebook.checks:
        cured[str(cured_by)] = True
    symptoms = tuple(dict.fromkeys(report.symptoms))
    return ClosedTicket(symptoms, cause, shown, cured, first_outcome)
