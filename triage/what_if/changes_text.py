"""Changes of a what-if as people write them: `fill_level=half`, `rinse-filter=cured`, `two weeks ago`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from triage.inputs.spoken import read_spoken
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError, Problem
from triage.what_if.changes import SYMPTOM


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
