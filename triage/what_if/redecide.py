"""A what-if decided: as JSON data, under a rulebook at hand or under one whose files were edited.

`decided_by_files` is for a child process with limits, because an edited rulebook is not trusted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import decide_inputs, inputs_from_data
from triage.logic.engine import Engine
from triage.records.decision_json import as_json
from triage.rulebook.built_in_facts import every_fact
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_of_sources
from triage.values.errors import InputError, Problem, RulebookError
from triage.values.json_text import from_json, to_json
from triage.values.plain_data import NotPlain, plain
from triage.values.yaml_source import Source, read_yaml
from triage.what_if.changes import Changes, changed_inputs, changes_from_data
from triage.what_if.turning_points import turning_points

Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Decided:
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
) -> Decided:
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
    found = None
    if turning:
        found = turning_points(rulebook, inputs, decision)
    data = from_json(to_json(as_json(decision, ticket=ticket)))
    return Decided(data, titles(rulebook), found)


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
    sources: dict[str, Source] = {}
    broken: dict[str, tuple[Problem, ...]] = {}
    for file, data in base.items():
        if file not in texts:
            try:
                sources[file] = Source(plain(data))
            except NotPlain as error:
                broken[file] = (Problem(str(error), file=file),)
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
