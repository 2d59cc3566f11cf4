"""Reads a rulebook from a folder of YAML files, or from the same files as plain data.

Every problem in every file is collected and raised together, each with file, line and column where it came
from a file. See `rulebook_files` for the shapes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from pathlib import Path as FilePath
from typing import Any, TypeVar, cast

from moneyed import CurrencyDoesNotExist, get_currency

from triage import rulebook_rules as rules
from triage import rulebook_tables as tables
from triage.did_you_mean import hint
from triage.errors import Problem, RulebookError
from triage.plain_data import NotPlain, canonical, plain
from triage.rulebook import OTHER_CAUSE, Rulebook, Tolerances
from triage.rulebook_files import KINDS, SINGLES, FactFile, ManifestFile, Shape
from triage.rulebook_link import check_cycles, check_groups, check_unique
from triage.rulebook_shapes import read_shape
from triage.rulebook_sources import Names, Problems
from triage.rulebook_vocabulary import BUILTIN_FACTS, built_in_facts, read_facts
from triage.yaml_source import MOST_BYTES, Source, read_yaml

MOST_FILES = 5000

T = TypeVar("T")


def read_rulebook(folder: FilePath) -> Rulebook:
    """The rulebook of a folder. Raises RulebookError with every problem found."""
    if not folder.is_dir():
        raise RulebookError(
            [
                Problem(
                    "there is no such folder; a rulebook is a folder with rulebook.yml in it",
                    file=str(folder),
                )
            ]
        )
    sources: dict[str, Source] = {}
    broken: dict[str, tuple[Problem, ...]] = {}
    for path in sorted(folder.rglob("*")):
        file = path.relative_to(folder).as_posix()
        if any(part.startswith(".") for part in file.split("/")) or path.is_dir():
            continue
        if path.name.upper().startswith("README"):
            continue
        if len(sources) + len(broken) >= MOST_FILES:
            broken[file] = (
                Problem(f"there are more than {MOST_FILES} files; is this the right folder?", file=file),
            )
            break
        try:
            sources[file] = _read_file(path, file)
        except RulebookError as error:
            broken[file] = error.problems
    return _rulebook(sources, broken)


def rulebook_from_data(files: Mapping[str, object]) -> Rulebook:
    """The rulebook of files held as plain data: relative path such as "facts/x.yml" -> its content.

    Dates may be texts in ISO 8601 and numbers ints, floats or Decimals, so that it may come from JSON. Raises
    RulebookError; its problems have a file and pointer, but no line.
    """
    sources: dict[str, Source] = {}
    broken: dict[str, tuple[Problem, ...]] = {}
    for file, raw in files.items():
        try:
            sources[str(file)] = Source(plain(raw))
        except NotPlain as error:
            where = ".".join(str(part) for part in error.path)
            broken[str(file)] = (Problem(f"{where}: {error}" if where else str(error), file=str(file)),)
    return _rulebook(sources, broken)


def version_of(files: Mapping[str, object]) -> str:
    """`sha256:` and the digest of the canonical JSON of all files' plain data.

    Order of keys, comments, spacing, quoting and the spelling of a number (1.5, 1.50) do not change it.
    """
    digest = hashlib.sha256(canonical({file: plain(data) for file, data in files.items()}).encode("ascii"))
    return f"sha256:{digest.hexdigest()}"


def _read_file(path: FilePath, file: str) -> Source:
    if path.suffix != ".yml":
        raise RulebookError(
            [Problem("a rulebook holds .yml files only; rename it or take it out", file=file)]
        )
    try:
        with path.open("rb") as stream:
            return read_yaml(stream.read(MOST_BYTES + 1), file)
    except OSError as error:
        raise RulebookError([Problem(f"the file cannot be read ({error.strerror})", file=file)]) from None


def _rulebook(sources: Mapping[str, Source], broken: Mapping[str, tuple[Problem, ...]]) -> Rulebook:
    problems = Problems(sources, [problem for found in broken.values() for problem in found])
    _check_places({*sources, *broken}, problems)
    shapes = _Shapes(sources, problems)
    rulebook = _link(shapes, {*sources, *broken}, problems)
    if problems.found or rulebook is None:
        raise RulebookError(
            sorted(set(problems.found), key=lambda p: (p.file or "", p.line or 0, p.column or 0, p.message))
        )
    return rulebook


def _check_places(files: set[str], problems: Problems) -> None:
    for file in sorted(files):
        folder, _, name = file.rpartition("/")
        if not folder and file not in SINGLES:
            problems.at(
                file, (), f"no such file belongs here{hint(file, SINGLES, '; rules stand in their folders')}"
            )
        elif folder and folder not in KINDS:
            message = f'"{folder}" is not a folder of a rulebook{hint(folder, KINDS)}'
            problems.at(file, (), f"{message}; folders are {', '.join(KINDS)}")
    for file in SINGLES:
        if file not in files:
            problems.found.append(Problem("this file is missing; every rulebook has one", file=file))
    for kind in ("symptoms", "causes"):
        if not any(file.startswith(f"{kind}/") for file in files):
            problems.found.append(Problem(f"there are no {kind}; a rulebook has at least one", file=kind))


class _Shapes:
    """Every file that has its kind's shape, by kind."""

    def __init__(self, sources: Mapping[str, Source], problems: Problems) -> None:
        self.singles: dict[str, Shape] = {}
        self.kinds: dict[str, dict[str, Shape]] = {kind: {} for kind in KINDS}
        for file, source in sorted(sources.items()):
            kind, _, name = file.rpartition("/")
            shape = SINGLES.get(file) if not kind else KINDS.get(kind)
            if shape is None:
                continue
            model = read_shape(shape, source.data, file, problems)
            stem = name.removesuffix(".yml")
            if kind and isinstance(source.data, dict) and source.data.get("id", stem) != stem:
                message = (
                    f'the id is "{str(source.data["id"])[:64]}", but the file is named {name}; make them one'
                )
                problems.at(file, ("id",), message)
            elif model is not None and kind:
                self.kinds[kind][file] = model
            elif model is not None:
                self.singles[file] = model

    def read(self, kind: str, reader: Callable[[str, Any], T]) -> dict[str, T]:
        """id -> what `reader(file, shape)` makes of each file of a kind."""
        return {cast(Any, shape).id: reader(file, shape) for file, shape in self.kinds[kind].items()}


def _link(shapes: _Shapes, files: set[str], problems: Problems) -> Rulebook | None:
    ids = {
        kind: {
            file.removeprefix(f"{kind}/").removesuffix(".yml")
            for file in files
            if file.startswith(f"{kind}/")
        }
        for kind in KINDS
    }
    fact_files = cast(dict[str, FactFile], shapes.kinds["facts"])
    own_facts = read_facts(fact_files, problems)
    components = frozenset(cast(Any, shape).component for shape in shapes.kinds["causes"].values())
    vocabulary = {**own_facts, **built_in_facts(ids["symptoms"], ids["causes"], components)}
    parts = cast(Any, shapes.singles.get("parts.yml"))
    hours = cast(Any, shapes.singles.get("service_hours.yml"))
    names = Names(
        problems=problems,
        ids={**ids, "facts": ids["facts"] | set(BUILTIN_FACTS)},
        facts=vocabulary,
        parts=set(parts.parts) if parts else set(),
        priorities=set(hours.priorities) if hours else set(),
    )
    if OTHER_CAUSE not in ids["causes"] and ids["causes"]:
        message = "this file is missing; `other` stands for every cause not named and needs a typical repair"
        problems.found.append(Problem(message, file=f"causes/{OTHER_CAUSE}.yml"))

    def with_names(reader: Callable[[Names, str, Any], T]) -> Callable[[str, Any], T]:
        return lambda file, shape: reader(names, file, shape)

    authorities = {
        name: authority
        for shape in shapes.kinds["limits"].values()
        for name, authority in tables.read_authorities(cast(Any, shape)).items()
    }
    derive = shapes.read("derive", with_names(rules.read_derive))
    evidence = shapes.read("evidence", with_names(rules.read_evidence))
    cautions = shapes.read("cautions", with_names(rules.read_caution))
    policy = shapes.read("policy", with_names(rules.read_policy))
    checks = shapes.read("checks", with_names(rules.read_check))
    symptoms = shapes.read("symptoms", with_names(tables.read_symptom))
    causes = shapes.read("causes", with_names(tables.read_cause))
    cover = shapes.read("cover", lambda file, shape: tables.read_cover(names, file, shape, components))
    limits = shapes.read("limits", lambda file, shape: tables.read_limit(names, file, shape, authorities))
    cases = shapes.read("cases", with_names(tables.read_whole_case))
    check_groups(evidence, problems)
    check_cycles(derive, problems)
    check_unique(
        {
            kind: [(i, f"{kind}/{i}.yml") for i in sorted(ids[kind])]
            for kind in ("derive", "evidence", "cautions", "policy", "checks")
        },
        problems,
    )
    rates_shape = cast(Any, shapes.singles.get("rates.yml"))
    rates = tables.read_rates(names, "rates.yml", rates_shape) if rates_shape else None
    service_hours = tables.read_service_hours(names, "service_hours.yml", hours) if hours else None
    manifest = cast("ManifestFile | None", shapes.singles.get("rulebook.yml"))
    if manifest is not None:
        _check_currency(manifest, problems)
    if problems.found or manifest is None or rates is None or service_hours is None:
        return None
    return Rulebook(
        title=manifest.title,
        currency=manifest.currency,
        version=version_of({file: source.data for file, source in problems.sources.items()}),
        tolerances=Tolerances(
            near_certain=float(manifest.near_certain),
            chance_over=float(manifest.chance_over),
            question_worth=manifest.question_worth,
        ),
        facts=own_facts,
        symptoms=symptoms,
        causes=causes,
        derive=derive,
        evidence=evidence,
        cautions=cautions,
        checks=checks,
        policy=policy,
        cover=cover,
        limits=limits,
        authorities=authorities,
        rates=rates,
        parts=tables.read_parts(parts),
        service_hours=service_hours,
        cases=cases,
    )


def _check_currency(manifest: ManifestFile, problems: Problems) -> None:
    try:
        get_currency(manifest.currency)
    except CurrencyDoesNotExist:
        message = f'"{manifest.currency}" is not a currency of ISO 4217, such as USD'
        problems.at("rulebook.yml", ("currency",), message)
