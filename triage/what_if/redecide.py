"""A what-if decided, and a recorded decision made again from its own rulebook and inputs.

`decided_by_files` is for a child process with limits, because an edited rulebook is not trusted.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import decide_inputs, inputs_from_data
from triage.logic.engine import Engine
from triage.records.decision import Decision
from triage.records.decision_json import as_json
from triage.records.payloads import Decided
from triage.records.ticket import Event, Ticket
from triage.rulebook.built_in_facts import every_fact
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import plain_sources, rulebook_from_data, rulebook_of_sources
from triage.values.errors import InputError, NotFoundError, RulebookError, escaped
from triage.values.json_text import from_json, to_json
from triage.values.yaml_source import read_yaml
from triage.what_if.changes import Changes, changed_inputs, changes_from_data
from triage.what_if.turning_points import turning_points

Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Redecided:
    """A decision as the contract's JSON; `titles` is "rule/<id>", "fact/<id>" or "check/<id>" -> title.

    `turning` is what would change it, where that was asked for; see `turning_points`.
    """

    decision: Data
    titles: Mapping[str, str]
    turning: Data | None = None


def decided(
    rulebook: Rulebook,
    engine: Engine,
    recorded: Data,
    changes: Changes,
    ticket: str | None = None,
    turning: bool = False,
) -> Redecided:
    """The decision on recorded inputs (`one_report.inputs_as_data`) after the changes.

    With `turning` also what would change it, see `turning_points`.
    """
    try:
        inputs = inputs_from_data(recorded, rulebook)
    except InputError as error:
        raise InputError(
            replace(problem, message=f"what was recorded does not fit this rulebook: {problem.message}")
            for problem in error.problems
        ) from None
    inputs = changed_inputs(inputs, rulebook, engine, changes)
    decision = decide_inputs(rulebook, engine, inputs)
    found = turning_points(rulebook, inputs, decision) if turning else None
    data = from_json(to_json(as_json(decision, ticket=ticket)))
    return Redecided(data, titles(rulebook), found)


def titles(rulebook: Rulebook) -> Mapping[str, str]:
    """What people call rules, facts and checks, by "kind/id"."""
    rules = (rulebook.derive, rulebook.evidence, rulebook.cautions, rulebook.policy)
    return {
        **{f"rule/{id_}": rule.head.title for kind in rules for id_, rule in kind.items()},
        **{f"check/{id_}": check.title for id_, check in rulebook.checks.items()},
        **{f"fact/{id_}": fact.title for id_, fact in every_fact(rulebook).items()},
    }


def rulebook_with_texts(base: Mapping[str, object], texts: Mapping[str, str | None]) -> Rulebook:
    """A rulebook of files as plain data, some of them replaced by YAML text (None: taken out).

    Raises RulebookError; what is wrong in a text has its line and column.
    """
    sources, broken = plain_sources({file: data for file, data in base.items() if file not in texts})
    for file, text in texts.items():
        if text is None:
            continue
        try:
            sources[file] = read_yaml(text.encode("utf-8", "replace"), file)
        except RulebookError as error:
            broken[file] = error.problems
    return rulebook_of_sources(sources, broken)


def decided_by_files(order: str) -> str:
    """`decided` under a rulebook with edited files: JSON in and out, so that a child process can do it.

    `order` holds base, texts, engine, inputs, changes, ticket and turning. Raises InputError.
    """
    asked = from_json(order)
    rulebook = rulebook_with_texts(asked["base"], asked["texts"])
    engine = compile_rulebook(rulebook, asked["engine"])
    changes = changes_from_data(asked["changes"])
    found = decided(rulebook, engine, asked["inputs"], changes, asked["ticket"], asked["turning"])
    return to_json({"decision": found.decision, "titles": dict(found.titles), "turning": found.turning})


NOT_THE_DECISION = frozenset({"/engine", "/limit/row_line"})
"""Places that may differ: every engine gives the same answer, and a comment moves the lines of a file."""

LAST_DIGITS = Decimal("1e-12")
"""The share by which a number may differ: far more than processors do, far less than decides anything."""

SENTENCES = re.compile(r"/notes(/|$)|/keep_or_swap/text(/|$)|.*/(text|why|title)$")
"""Places of sentences, which another version of the program may word otherwise without deciding otherwise."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """A decision as it was recorded and made again."""

    ticket: Ticket
    rulebook: Rulebook  # the decision's own
    recorded: Data
    again: Decision
    identical: bool
    differs: tuple[str, ...]  # JSON pointers where the two part, but for sentences
    reworded: tuple[str, ...]  # JSON pointers of sentences that are worded otherwise now


def explain_again(
    ticket: Ticket,
    decided: Event,
    files_of: Callable[[str], Data | None],
    compile_rulebook: Callable[[Rulebook], Engine],
) -> Explanation:
    """`decided` is the event explained; `files_of` gives the files of a rulebook version."""
    files = files_of(decided.rulebook)
    if files is None:
        raise NotFoundError(
            f"the rulebook {decided.rulebook} of this decision is not stored; it cannot be redecided"
        )
    rulebook = rulebook_from_data(files, decided.rulebook)
    payload = decided.payload
    assert isinstance(payload, Decided)
    inputs = inputs_from_data(payload.inputs, rulebook)
    again = decide_inputs(rulebook, compile_rulebook(rulebook), inputs)
    recorded = payload.decision
    made_again = from_json(to_json(as_json(again, ticket=ticket.id)))
    differs, reworded = compared(recorded, made_again)
    return Explanation(ticket, rulebook, recorded, again, not differs, differs, reworded)


def compared(recorded: Data, again: Data) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """JSON pointers where two decisions differ, and where only a sentence is worded otherwise."""
    places = [place for place in differences(recorded, again) if place not in NOT_THE_DECISION]
    return (
        tuple(place for place in places if not SENTENCES.match(place)),
        tuple(place for place in places if SENTENCES.match(place)),
    )


def differences(left: object, right: object, pointer: str = "") -> Iterator[str]:
    """JSON pointers of the places where two JSON documents differ."""
    if isinstance(left, Mapping) and isinstance(right, Mapping):
        for key in sorted({*left, *right}):
            inner = f"{pointer}/{escaped(key)}"
            if key not in left or key not in right:
                yield inner
            else:
                yield from differences(left[key], right[key], inner)
    elif isinstance(left, list) and isinstance(right, list) and len(left) == len(right):
        for index, (one, other) in enumerate(zip(left, right, strict=True)):
            yield from differences(one, other, f"{pointer}/{index}")
    elif not _same(left, right):
        yield pointer or "/"


def _same(left: object, right: object) -> bool:
    """Whether two JSON values are one. Another processor may end a logarithm on another last digit."""
    if isinstance(left, bool) != isinstance(right, bool):
        return False
    if isinstance(left, Decimal) and isinstance(right, Decimal):
        return abs(left - right) <= LAST_DIGITS * max(abs(left), abs(right))
    return left == right
