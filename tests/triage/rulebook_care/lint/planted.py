"""Faults of meaning planted into the default rulebook, and what tells of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from copy import deepcopy
from decimal import Decimal
from functools import cache, reduce
from operator import getitem
from typing import Any

from tests import ROOT
from triage.decide.causes.inference import compile_rulebook
from triage.decide.whole_cases import run_whole_cases
from triage.inputs.heard import run_words_cases
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_files_data, rulebook_from_data
from triage.rulebook.rule_cases import run_rule_cases
from triage.rulebook_care.lint.lint import lint
from triage.rulebook_care.safety.weakening import weakened
from triage.values.errors import InputError

Files = dict[str, Any]
Edit = Callable[[Files], object]


@cache
def _sound() -> tuple[Files, Rulebook, frozenset[tuple[str, str]]]:
    files = rulebook_files_data(ROOT / "rules")
    rulebook = rulebook_from_data(files)
    return dict(files), rulebook, frozenset((each.code, each.message) for each in lint(rulebook))


def found_by(edit: Edit) -> set[str]:
    """What tells of it: `refused`, codes of the lint, `loss`, `rule case`, `whole case`, or nothing."""
    files, sound, known = _sound()
    planted = deepcopy(files)
    edit(planted)
    assert planted != files
    try:
        rulebook = rulebook_from_data(planted)
    except InputError:
        return {"refused"}
    if found := {each.code for each in lint(rulebook) if (each.code, each.message) not in known}:
        return found
    if weakened(sound, rulebook):
        return {"loss"}
    if run_rule_cases(rulebook) or run_words_cases(rulebook):
        return {"rule case"}
    return {"whole case"} if run_whole_cases(rulebook, compile_rulebook(rulebook, "plain")) else set()


def inside(files: Files, file: str, path: Iterable[str | int]) -> Any:
    """The part of a file that a path leads to."""
    return reduce(getitem, path, files[file])


def put(file: str, value: object, *path: str | int) -> Edit:
    def edit(files: Files) -> None:
        inside(files, file, path[:-1])[path[-1]] = (
            Decimal(str(value)) if type(value) in (int, float) else value
        )

    return edit


def without(file: str, *path: str | int) -> Edit:
    def edit(files: Files) -> None:
        del inside(files, file, path[:-1])[path[-1]]

    return edit


def reworded(file: str, before: str, after: str) -> Edit:
    def change(part: Any) -> Any:
        match part:
            case str():
                return part.replace(before, after)
            case dict():
                return {key: change(value) for key, value in part.items()}
            case list():
                return [change(value) for value in part]
            case _:
                return part

    return lambda files: files.update({file: change(files[file])})


def both(*edits: Edit) -> Edit:
    return lambda files: [edit(files) for edit in edits]


def swapped_chances(files: Files) -> None:
    seen = files["evidence/filter-overdue.yml"]["then"]["seen_with"]
    seen["dirty_filter"], seen["others"] = seen["others"], seen["dirty_filter"]


def swapped_languages(files: Files) -> None:
    words = files["words/leaking.yml"]
    words["en"], words["es"] = words["es"], words["en"]


def same(kind: str, key: str, one: str, like: str) -> Edit:
    return lambda files: put(f"{kind}/{one}.yml", files[f"{kind}/{like}.yml"][key], key)(files)


def grown(file: str, value: object, *path: str) -> Edit:
    def edit(files: Files) -> None:
        inside(files, file, path).append(value)

    return edit
