"""What if: a ticket's decision made again with some inputs changed, as data or as people write them.

Everything is computed from the recorded inputs; nothing is stored. `changed_inputs` gives the inputs after
the changes; `what_if_decided` decides them.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from triage.decide.causes.inference import infer
from triage.decide.decide_data import Inputs, with_spent
from triage.decide.facts import gather_facts
from triage.inputs.reader import InputReader
from triage.inputs.report import RESULTS, check_dates, read_report
from triage.inputs.spoken import read_spoken
from triage.logic.engine import Engine
from triage.machine.measures.measure import calculated
from triage.records.decision import KnownFact
from triage.records.report import Report
from triage.rulebook.built_in_facts import BUILTIN_FACTS
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError, Problem, escaped, path_to, pointer_to
from triage.values.money import parse_money
from triage.values.shown import hint

Data = Mapping[str, Any]

NOT_DONE = "not_done"
"""Given as a check's result, it takes the check back."""

SYMPTOM = "symptom"
MOST_CHANGES = 200


@dataclass(frozen=True, slots=True)
class Changes:
    """What is other than recorded, as it came in; `changed_inputs` reads it.

    `facts` are set, whoever said otherwise; `symptom` may be among them, with a list. `forget` makes facts
    unknown. `checks` is check -> result, or `not_done`. `at` (RFC 3339) moves the call: the report is as much
    earlier as it was. `spent` is what the ticket has cost so far, such as "120.00 USD".
    """

    facts: Mapping[str, object] = field(default_factory=dict)
    forget: tuple[str, ...] = ()
    checks: Mapping[str, str] = field(default_factory=dict)
    at: str | None = None
    spent: str | None = None


def changed_inputs(inputs: Inputs, rulebook: Rulebook, engine: Engine, changes: Changes) -> Inputs:
    """The inputs after the changes.

    A fact that is set to the value it has anyway is no change, nor is forgetting what is not known; so no
    change at all gives `inputs` back. Raises InputError with pointers such as /set/fill_level and /forget/0.
    """
    read = InputReader(rulebook)
    if len(changes.facts) + len(changes.forget) + len(changes.checks) > MOST_CHANGES:
        raise InputError([Problem(f"at most {MOST_CHANGES} changes are made at once", "")])
    at = inputs.at if changes.at is None else read.moment(changes.at, "/at")
    moved = replace(inputs, at=at)
    if changes.spent is not None:
        spent = read.try_(lambda: parse_money(changes.spent, rulebook.currency, "/spent"))
        if spent is not None and spent.amount < 0:
            read.problem("an amount is not below zero", "/spent")
        moved = with_spent(moved, spent)
    _check_forgotten(read, changes)
    report = read.try_(lambda: _changed_report(inputs, rulebook, changes))
    read.finish()
    assert report is not None
    report = replace(report, reported_at=inputs.report.reported_at + (at - inputs.at))
    try:
        check_dates(report, inputs.machine, at)
    except InputError as error:
        raise InputError(replace(problem, pointer="/at") for problem in error.problems) from None
    report = _without_idle_settings(replace(moved, report=report), inputs.report, rulebook, engine, changes)
    return replace(moved, report=_forgetting(replace(moved, report=report), rulebook, engine, changes.forget))


def known_facts(rulebook: Rulebook, engine: Engine, inputs: Inputs) -> dict[str, KnownFact]:
    """Every fact the rules see before the ranking, with where it comes from."""
    gathered = gather_facts(rulebook, inputs.report, inputs.machine, inputs.history, inputs.at)
    known, _ = calculated(rulebook, gathered)
    found = infer(rulebook, engine, {fact: each.value for fact, each in known.items()})
    derived = {fact: KnownFact(found.facts[fact], "derived", rule) for fact, rule in found.derived_by.items()}
    return {**known, **derived}


def _changed_report(inputs: Inputs, rulebook: Rulebook, changes: Changes) -> Report:
    data = inputs.report_data
    facts = {fact: value for fact, value in changes.facts.items() if fact != SYMPTOM}
    wrong = [
        Problem(f"the result is one of {', '.join((*RESULTS, NOT_DONE))}", f"/checks/{escaped(check)}")
        for check, result in changes.checks.items()
        if result not in (*RESULTS, NOT_DONE)
    ]
    if wrong:
        raise InputError(wrong)
    results = {done["check"]: done for done in data.get("checks") or ()}
    results |= {check: {"check": check, "result": result} for check, result in changes.checks.items()}
    checks = [done for done in results.values() if done["result"] != NOT_DONE]
    symptoms = changes.facts.get(SYMPTOM, data["symptoms"])
    for check in changes.checks:
        if check not in rulebook.checks:
            fix = hint(check, rulebook.checks, f"; checks are {', '.join(rulebook.checks)}"[:600])
            message = f'"{check[:60]}" is no check of the rulebook{fix}'
            raise InputError([Problem(message, f"/checks/{escaped(check)}")])
    changed = {
        **data,
        "symptoms": [symptoms] if isinstance(symptoms, str) else symptoms,
        "answers": {**(data.get("answers") or {}), **facts},
        "unknown": [fact for fact in data.get("unknown") or () if fact not in facts],
        "checks": checks,
    }
    try:
        report = read_report(changed, rulebook)
    except InputError as error:
        raise InputError(_placed(error, changes)) from None
    return replace(
        report, forgotten=tuple(fact for fact in inputs.report.forgotten if fact not in changes.facts)
    )


def _placed(error: InputError, changes: Changes) -> Iterator[Problem]:
    """Problems of the report, at the place of the change that made them."""
    for problem in error.problems:
        kind, *rest = path_to(problem.pointer or "/")
        if kind == "answers" and rest and rest[0] in changes.facts:
            yield replace(problem, pointer=pointer_to(["set", *rest]))
        elif kind == "symptoms" and SYMPTOM in changes.facts:
            yield replace(problem, pointer=pointer_to(["set", SYMPTOM, *rest]))
        else:
            message = f"what was recorded does not fit this rulebook: {problem.message}"
            yield replace(problem, message=message, pointer=f"/report{problem.pointer}")


def _check_forgotten(read: InputReader, changes: Changes) -> None:
    vocabulary = read.rulebook.facts
    for number, fact in enumerate(changes.forget):
        pointer = f"/forget/{number}"
        if fact in BUILTIN_FACTS:
            read.problem(f'"{fact}" is worked out by the program; it cannot be forgotten', pointer)
        elif fact not in vocabulary:
            read.problem(f'the rulebook has no fact "{fact[:60]}"{hint(fact, vocabulary)}', pointer)
        elif fact in changes.facts:
            read.problem(f'"{fact}" is set as well; do one of the two', pointer)


def _without_idle_settings(
    inputs: Inputs, recorded: Report, rulebook: Rulebook, engine: Engine, changes: Changes
) -> Report:
    """The report without the settings that say what is known anyway, and change nothing."""
    report = inputs.report
    for fact in changes.facts:
        if fact == SYMPTOM or fact not in report.answers:
            continue
        answers = {each: value for each, value in report.answers.items() if each != fact}
        if fact in recorded.answers:
            answers = {
                each: recorded.answers[each] if each == fact else value
                for each, value in report.answers.items()
            }
        unknown = tuple(each for each in recorded.unknown if each == fact or each in report.unknown)
        as_it_was = replace(report, answers=answers, unknown=unknown)
        known = known_facts(rulebook, engine, replace(inputs, report=as_it_was)).get(fact)
        if known is not None and known.value == report.answers[fact]:
            report = as_it_was
    return report


def _forgetting(inputs: Inputs, rulebook: Rulebook, engine: Engine, forget: tuple[str, ...]) -> Report:
    report = inputs.report
    if not forget:
        return report
    known = known_facts(rulebook, engine, inputs)
    problems = []
    for number, fact in enumerate(forget):
        if fact in known and known[fact].source in ("derived", "computed"):
            by = f" by the rule {known[fact].rule}" if known[fact].rule else ""
            message = f'"{fact}" is worked out from other facts{by}; forget those'
            problems.append(Problem(message, f"/forget/{number}"))
    if problems:
        raise InputError(problems)
    gone = [fact for fact in forget if fact in known]
    return replace(report, forgotten=tuple(dict.fromkeys((*report.forgotten, *gone))))


def changes_from_data(data: Data) -> Changes:
    """`Changes` as JSON data: the keys set, forget, checks, at and spent, each may be left out."""
    return Changes(
        facts=dict(data.get("set") or {}),
        forget=tuple(data.get("forget") or ()),
        checks=dict(data.get("checks") or {}),
        at=data.get("at"),
        spent=data.get("spent"),
    )


def changes_as_data(changes: Changes) -> dict[str, Any]:
    """The JSON data that `changes_from_data` reads."""
    return {
        "set": dict(changes.facts),
        "forget": list(changes.forget),
        "checks": dict(changes.checks),
        "at": changes.at,
        "spent": changes.spent,
    }


def read_values(rulebook: Rulebook, texts: Mapping[str, str], today: date) -> dict[str, Any]:
    """Fact -> value as JSON data, read as a clerk's words are; `symptom` takes several with commas.

    A fact that the rulebook does not have is left as text, to be refused with the others. Raises InputError.
    """
    values: dict[str, Any] = {}
    problems: list[Problem] = []
    for fact_id, text in texts.items():
        fact = rulebook.facts.get(fact_id)
        if fact_id == SYMPTOM:
            values[fact_id] = [part.strip() for part in text.split(",")]
        elif fact is None:
            values[fact_id] = text
        else:
            try:
                values[fact_id] = read_spoken(fact, text, today)
            except InputError as error:
                problems += [replace(problem, pointer=f"/set/{fact_id}") for problem in error.problems]
    if problems:
        raise InputError(problems)
    return values


def pairs(texts: Iterable[str], option: str, example: str) -> dict[str, str]:
    """`name=value` texts as a mapping; a name that stands twice is refused. Raises InputError."""
    found: dict[str, str] = {}
    for text in texts:
        name, sign, value = (part.strip() for part in text.partition("="))
        if not sign or not name or not value:
            raise InputError(f'{option} "{text[:60]}" is not name=value; write it as {example}')
        if name in found:
            raise InputError(f'{option} sets "{name[:60]}" twice; keep one')
        found[name] = value
    return found
