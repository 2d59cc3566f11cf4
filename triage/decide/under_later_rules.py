"""A recorded report under a later rulebook: what that rulebook no longer knows is left out, and named.

The log keeps all of it. Only facts, checks and all but the last symptom can be left out; a report without
any symptom that the rulebook knows cannot be decided by it, and reading it says so.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from triage.records.payloads import Payload, Undone
from triage.records.ticket import Ticket, changed_report
from triage.rulebook.built_in_facts import BUILTIN_FACTS
from triage.rulebook.fact_values import read_value
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError

Data = Mapping[str, Any]


def fitted(report: Data, rulebook: Rulebook) -> tuple[Data, tuple[str, ...]]:
    """REPORT.json's data as far as `rulebook` can read it, and the ids of what was left out, in order."""
    answers, unknown = report.get("answers") or {}, report.get("unknown") or ()
    checks, symptoms = report.get("checks") or (), report.get("symptoms") or ()
    kept = {
        "answers": {fact: value for fact, value in answers.items() if _can_answer(rulebook, fact, value)},
        "unknown": [fact for fact in unknown if fact in rulebook.facts],
        "checks": [_known(done, rulebook) for done in checks if done["check"] in rulebook.checks],
        "symptoms": [symptom for symptom in symptoms if symptom in rulebook.symptoms] or list(symptoms),
    }
    left_out = [fact for fact in answers if fact not in kept["answers"]]
    left_out += [fact for fact in unknown if fact not in kept["unknown"]]
    left_out += [
        check
        for done in checks
        for check in (done["check"], *done.get("together", ()))
        if check not in rulebook.checks
    ]
    left_out += [symptom for symptom in symptoms if symptom not in kept["symptoms"]]
    if not left_out:
        return report, ()
    return {**report, **{key: kept[key] for key in kept if key in report}}, tuple(dict.fromkeys(left_out))


def _known(done: Data, rulebook: Rulebook) -> Data:
    together = [check for check in done.get("together", ()) if check in rulebook.checks]
    return {**done, "together": together} if "together" in done else done


def report_now(ticket: Ticket, news: Sequence[Payload], rulebook: Rulebook) -> tuple[Data, tuple[str, ...]]:
    """`changed_report` for a ticket that an older rulebook may have decided last, and what was left out.

    What the event itself says is not fitted: an answer that cannot be read is refused.
    """
    older = ticket.rulebook != rulebook.version
    report, left_out = fitted(ticket.report, rulebook) if older else (ticket.report, ())
    for payload in news:
        if older and isinstance(payload, Undone):
            report, left_out = fitted(payload.report, rulebook)
        else:
            report = changed_report(report, payload)
    return report, left_out


def fitted_machine(machine: Data, rulebook: Rulebook) -> Data:
    """A machine file's data without the facts that `rulebook` does not know or cannot read."""
    facts = machine.get("facts") or {}
    kept = {fact: value for fact, value in facts.items() if _readable(rulebook, fact, value)}
    return machine if len(kept) == len(facts) else {**machine, "facts": kept}


def _can_answer(rulebook: Rulebook, fact_id: str, value: object) -> bool:
    return _readable(rulebook, fact_id, value) and rulebook.facts[fact_id].asked_of != "computed"


def _readable(rulebook: Rulebook, fact_id: str, value: object) -> bool:
    fact = rulebook.facts.get(fact_id)
    if fact is None or fact_id in BUILTIN_FACTS:
        return False
    try:
        read_value(fact, value, "")
    except InputError:
        return False
    return True
