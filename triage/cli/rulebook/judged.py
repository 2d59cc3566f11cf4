"""What is wrong with a folder of rules: faults, cases that fail, safety taken away; as plain data."""

from collections.abc import Collection, Mapping
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any, TypeAlias

from triage.cli.rulebook.safety import kept_version
from triage.cli.shown.remembered import PROGRAM, read_remembered, remembered
from triage.config import Settings
from triage.decide.causes.inference import compile_rulebook
from triage.decide.pipeline import STOPS
from triage.decide.whole_cases import IF_MEANT, WholeCaseFailure, run_whole_cases
from triage.inputs.heard import run_words_cases
from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import backups, read_file, version_of
from triage.rulebook.rule_cases import CaseFailure, run_rule_cases
from triage.rulebook_care.lint.findings import Finding, counts, located, sarif
from triage.rulebook_care.lint.lint import has_errors, lint
from triage.rulebook_care.safety.danger_cases import binding, failed_danger_cases, surely_passes
from triage.rulebook_care.safety.weakening import weakened
from triage.values.errors import pointer_to

Files: TypeAlias = Mapping[str, object]

CODE = (PROGRAM,)
COUNTED = (
    *("symptoms", "causes", "facts", "derive", "evidence"),
    *("cautions", "checks", "policy", "warranty", "limits"),
)


def judge(folder: Path, settings: Settings, version: str | None) -> dict[str, Any]:
    """Everything that `rulebook check` tells, in whatever form. Raises InputError where it cannot be read.

    `version` is the live one, from which safety may be taken away; without it the folder is held to the cases
    of danger that it knows itself.
    """
    rules, files = read_remembered(folder)
    decides = what_decides(files)
    remembered(
        None, CODE, f"compiles, {settings.engine}, {decides}", partial(_compiles, rules, settings.engine)
    )
    engine = compile_rulebook(rules, "plain")  # where two differ, its answer is the one that stands
    found = located(lint(rules), folder)
    live = None if version is None else kept_version(settings, version)
    losses = () if live is None else weakened(live, rules)
    bound = () if live is None else binding(live)
    failures = failed_cases(folder, rules, files, engine) + _dangers(rules, files, engine, bound)
    quiet = sum(each.silenced is not None for each in found)
    said = [
        f"{number} {severity}{'' if number == 1 else 's'}"
        for severity, number in counts(found).items()
        if number
    ]
    return {
        "title": f"{rules.title}: {_counts(rules)}\n{rules.version}",
        "backups": backups(folder),
        "lines": [(_line(each), each.silenced is not None) for each in found],
        "counted": ", ".join([*said, f"{quiet} silenced"] if quiet else said) or "nothing found",
        "sarif": sarif(found),
        "losses": losses,
        "data": {
            "ok": not failures and not has_errors(found),
            "version": rules.version,
            "problems": [],
            "findings": [_finding(each) for each in found],
            "failures": failures,
            "losses": [loss.as_data() for loss in losses],
        },
    }


def _compiles(rules: Rulebook, engine: str) -> None:
    compile_rulebook(rules, engine)


def failed_cases(folder: Path, rules: Rulebook, files: Files, engine: Engine) -> list[dict[str, Any]]:
    """The cases of rules, of words and whole reports that come out otherwise than they say."""

    def words() -> list[CaseFailure]:
        return run_words_cases(rules)

    def whole() -> list[WholeCaseFailure]:
        return run_whole_cases(rules, engine)

    failed: list[dict[str, Any]] = [
        {"file": failure.file, "id": failure.rule, "message": failure.message}
        for failure in (*run_rule_cases(rules), *remembered(folder / "words", CODE, "cases", words))
    ]
    for each in remembered(None, CODE, f"whole cases, {engine.name}, {what_decides(files)}", whole):
        place = read_file(folder / each.file, each.file).keys.get(("expect",))
        line = {} if place is None else {"line": place.line}
        failed.append({"file": each.file, "id": each.case, "message": f"{each.message}{IF_MEANT}", **line})
    return failed


def _dangers(rules: Rulebook, files: Files, engine: Engine, bound: Collection[str]) -> list[dict[str, Any]]:
    def sure() -> bool:
        return surely_passes(rules, engine, bound)

    stops = {file: data for file, data in files.items() if file.partition("/")[0] in STOPS}
    if remembered(None, CODE, f"dangers, {engine.name}, {what_decides(stops)}, {sorted(bound)}", sure):
        return []
    failed = failed_danger_cases(rules, engine, bound)
    return [{"file": "rulebook", "id": "danger", "message": each} for each in failed]


_WORDING = frozenset(
    {"title", "title_es", "why", "source", "owner", "since", "known_misfires", "cases", "lint_off", "steps"}
    | {"ask_es", "help", "help_es", "steps_es", "look_for", "look_for_es"}
)
"""Keys of a file that hold what is read, not what decides."""


def what_decides(files: Files) -> str:
    """A digest of all in a rulebook's files by which a report may be decided otherwise."""
    deciding = {
        file: {key: value for key, value in data.items() if key not in _WORDING}
        for file, data in files.items()
        if isinstance(data, Mapping)
    }
    return version_of(deciding)


def _counts(rules: Rulebook) -> str:
    counted = [f"{len(getattr(rules, kind))} {kind}" for kind in COUNTED]
    return ", ".join([*counted, f"{len(rules.words)} lists of words"])


def _line(each: Finding) -> str:
    if each.silenced is None:
        return str(each)
    return f"{each.where}: silenced {each.code}: {each.message}. Because: {each.silenced}"


def _finding(each: Finding) -> Mapping[str, object]:
    data = asdict(each)
    return data | {"pointer": pointer_to(data.pop("path"))}
