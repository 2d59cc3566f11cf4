"""The default rulebook's files as data, read once, with edits that make it weaker or not."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from functools import cache
from typing import Any

from tests import ROOT
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_files_data, rulebook_from_data

Files = dict[str, Any]
Edit = Callable[[Files], None]

SHOCK, WET, CRACKED = "cautions/shock-felt.yml", "cautions/wet-electrics.yml", "cautions/cracked-barrel.yml"


@cache
def _read() -> Files:
    """Without the whole reports, which are no part of what is compared."""
    files = rulebook_files_data(ROOT / "rules")
    return {path: data for path, data in files.items() if not path.startswith("cases/")}


def default_files(*edits: Edit) -> Files:
    files = deepcopy(_read())
    for edit in edits:
        edit(files)
    return files


@cache
def default_rulebook() -> Rulebook:
    return rulebook_from_data(_read())


def without_key(path: str, *keys: str) -> Edit:
    """Takes a key out of a file, or out of a mapping in it."""

    def edit(files: Files) -> None:
        inside = files[path]
        for key in keys[:-1]:
            inside = inside[key]
        del inside[keys[-1]]

    return edit


def with_value(value: object, path: str, *keys: str) -> Edit:
    def edit(files: Files) -> None:
        inside = files[path]
        for key in keys[:-1]:
            inside = inside[key]
        inside[keys[-1]] = value

    return edit


def without_caution(name: str) -> Edit:
    """Deletes a caution, and takes it off every check."""

    def edit(files: Files) -> None:
        del files[f"cautions/{name}.yml"]
        for path, data in files.items():
            if path.startswith("checks/") and name in data.get("cautions", ()):
                data["cautions"] = [each for each in data["cautions"] if each != name]

    return edit


def check_with_cautions(files: Files) -> str:
    return next(path for path in sorted(files) if path.startswith("checks/") and files[path].get("cautions"))


def drop_check_caution(files: Files) -> None:
    data = files[check_with_cautions(files)]
    data["cautions"] = data["cautions"][1:]


def drop_phrases(files: Files) -> None:
    files["words/shock.yml"]["en"] = files["words/shock.yml"]["en"][1:]


def put_first(files: Files) -> None:
    """A caution that puts a check first, which the default rulebook may not have."""
    check = check_with_cautions(files).removeprefix("checks/").removesuffix(".yml")
    files[CRACKED]["then"]["first"] = [check]


def excuse(files: Files) -> None:
    files["words/shock.yml"]["unless"] = [*files["words/shock.yml"]["unless"], "electric kettle"]


WEAKER: dict[str, tuple[Edit, str, str]] = {
    "stop_use": (without_key(SHOCK, "then", "stop_use"), SHOCK, "no longer stops use"),
    "forbids": (without_key(SHOCK, "then", "forbids"), SHOCK, "no longer forbids all checks"),
    "one forbidden check": (
        with_value(["reseat-hopper-seal", "thaw-barrel"], CRACKED, "then", "forbids"),
        CRACKED,
        "no longer forbids the check turn-seal-round",
    ),
    "narrowed": (
        with_value({"tingle_felt": True, "display_lit": True}, SHOCK, "when"),
        SHOCK,
        "is narrowed: it no longer holds for",
    ),
    "retired": (with_value("retired", SHOCK, "status"), SHOCK, "is retired"),
    "draft": (with_value("draft", SHOCK, "status"), SHOCK, "is only a draft"),
    "deleted": (without_caution("wet-electrics"), WET, "is taken out"),
    "beside checks only": (
        with_value(True, SHOCK, "with_checks"),
        SHOCK,
        "is said only beside checks",
    ),
    "urgency": (
        with_value(3, SHOCK, "then", "visit_priority"),
        SHOCK,
        "is less urgent: visit priority",
    ),
    "nobody deferred to": (
        with_value([], SHOCK, "then", "defers_to"),
        SHOCK,
        "no longer says to whom it defers",
    ),
    "a sentence in Spanish": (
        with_value("No la toque.", SHOCK, "then", "text_es"),
        SHOCK,
        "no longer says “",
    ),
    "a step that makes safe": (
        with_value("Stand in front of it.", "checks/rinse-filter.yml", "steps", 1),
        "checks/rinse-filter.yml",
        "no longer says “Unplug the machine.”",
    ),
    "skill": (without_key(SHOCK, "then", "visit_skill"), SHOCK, "asks for less skill: electrical → any"),
    "danger": (
        without_key("facts/liquid_in_base.yml", "danger"),
        "facts/liquid_in_base.yml",
        "is no longer a danger",
    ),
    "phrases": (drop_phrases, "words/shock.yml", "no longer hears “shock|shocked"),
    "read out": (
        with_value("food", SHOCK, "then", "harm"),
        SHOCK,
        "is read out later: life → food",
    ),
    "excused": (excuse, "words/shock.yml", "no longer hears it where “electric kettle” is said"),
}
"""Each way of weakening: the edit, the file that it is laid to, and how it is said."""
