"""Makes the rulebook out of its files' shapes: ids followed, conditions parsed, all checked together."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, TypeVar, cast

from moneyed import CurrencyDoesNotExist

from triage.rulebook.built_in_facts import BUILTIN_FACTS, LIMIT_FACTS, POLICY_FACTS, in_currency
from triage.rulebook.installation import Installation
from triage.rulebook.model import CareIntervals, Rulebook, Status
from triage.rulebook.reading import rates, rules, tables
from triage.rulebook.reading.conditions import built_in_facts, read_facts
from triage.rulebook.reading.consistency import (
    check_cycles,
    check_groups,
    check_pairs,
    check_unique,
    spanish_of,
)
from triage.rulebook.reading.installation import InstallationFile, read_installation
from triage.rulebook.reading.problems import Names, Problems, path_of
from triage.rulebook.reading.rates import facts_given, read_models
from triage.rulebook.reading.shapes import KINDS, FactFile, ManifestFile, ModelsFile
from triage.rulebook.reading.table_shapes import PartsFile, RatesFile, ServiceHoursFile, Shape
from triage.rulebook.reading.validate import touches
from triage.rulebook.terms import Tolerances
from triage.values.money import minor_unit
from triage.values.plain_data import Path

T = TypeVar("T")

_RULE_KINDS = ("derive", "evidence", "cautions", "policy", "checks")


@dataclass(frozen=True, slots=True)
class Shapes:
    """The files' shapes: the single files, and folder -> file -> shape.

    `faulty` are files whose faults are already reported: what is sound in them, and the paths of the faults.
    """

    singles: Mapping[str, Shape]
    kinds: Mapping[str, Mapping[str, Shape]]
    faulty: Mapping[str, Mapping[str, tuple[Shape, frozenset[Path]]]]

    def single(self, file: str, shape: type[T]) -> T | None:
        found = self.singles.get(file)
        return found if isinstance(found, shape) else None


def link(shapes: Shapes, files: set[str], version: str, problems: Problems) -> Rulebook | None:
    """The rulebook, or None with the problems added. `files` are all files, broken ones included."""
    components = frozenset(cast(Any, shape).component for shape in shapes.kinds["causes"].values())
    manifest = shapes.single("rulebook.yml", ManifestFile)
    facts = read_facts(cast(Mapping[str, FactFile], shapes.kinds["facts"]), problems)
    if manifest is not None:
        facts = in_currency(facts, manifest.currency)
    parts = shapes.single("parts.yml", PartsFile)
    hours = shapes.single("service_hours.yml", ServiceHoursFile)
    rate_file = shapes.single("rates.yml", RatesFile)
    model_file = shapes.single("models.yml", ModelsFile)
    ids = _ids(files)
    set_aside = _set_aside(shapes)
    early = Names(
        problems=problems,
        ids={**ids, "facts": ids["facts"] | set(BUILTIN_FACTS)},
        facts={**facts, **built_in_facts(ids["symptoms"], ids["causes"], components)},
        parts=set(parts.parts) if parts else None,
        priorities=set(hours.priorities) if hours else None,
        later=POLICY_FACTS | LIMIT_FACTS,
        set_aside=set_aside,
        apart={f"{kind}/{name}.yml" for kind, names in set_aside.items() for name in names},
    )
    late = replace(early, later=LIMIT_FACTS)
    latest = replace(early, later=frozenset())

    def read(kind: str, reader: Callable[[Names, str, Any], T], names: Names = early) -> dict[str, T]:
        for file, (shape, faults) in shapes.faulty[kind].items():
            apart = replace(names, problems=Problems(problems.sources))
            reader(apart, file, shape)
            problems.found.extend(
                problem for problem in apart.problems.found if not touches(path_of(problem), faults)
            )
        return {cast(Any, shape).id: reader(names, file, shape) for file, shape in shapes.kinds[kind].items()}

    def applying(kind: str, reader: Callable[[Names, str, Any], T]) -> dict[str, T]:
        return {name: each for name, each in read(kind, reader).items() if name not in set_aside[kind]}

    least = Decimal("0.01") if manifest is None else _smallest(manifest, problems)
    if manifest is not None and manifest.ops_up_to is not None:
        tables.check_amount("rulebook.yml", ("ops_up_to",), manifest.ops_up_to, least, problems)
    authorities = tables.read_authorities(shapes.kinds["limits"], problems, least)
    derive = read("derive", rules.read_derive)
    evidence = read("evidence", rules.read_evidence)
    cautions = read("cautions", rules.read_caution)
    policy = read("policy", rules.read_policy, late)
    checks = applying("checks", rules.read_check)
    symptoms = applying("symptoms", tables.read_symptom)
    causes = read("causes", tables.read_cause)
    warranty = applying(
        "warranty", lambda names, file, shape: tables.read_warranty(names, file, shape, components)
    )
    limits = read(
        "limits", lambda names, file, shape: tables.read_limit(names, file, shape, authorities, least), latest
    )
    words = applying("words", tables.read_words)
    cases = applying("cases", tables.read_whole_case)
    read_rates = rates.read_rates(early, "rates.yml", rate_file) if rate_file else None
    read_hours = rates.read_service_hours(early, "service_hours.yml", hours) if hours else None
    models = read_models(early, "models.yml", model_file) if model_file else {}
    install_file = shapes.single("installation.yml", InstallationFile)
    installation = Installation()
    if install_file is not None:
        installation = read_installation(early, "installation.yml", install_file)
    if manifest is not None:
        rules.check_together(early, manifest.together, checks, cautions)
    spanish, spanish_gaps, spanish_twice = spanish_of(
        [
            *(each for kind in shapes.kinds.values() for each in kind.items()),
            *(("installation.yml", part) for part in (install_file.worded() if install_file else ())),
            *((("parts.yml", parts),) if parts else ()),
        ],
        problems,
    )
    program_facts = facts_given(early, "rulebook.yml", ("facts",), manifest.facts) if manifest else {}
    check_groups(evidence, problems)
    check_cycles(derive, problems)
    check_pairs(symptoms, problems)
    check_unique([(i, f"{kind}/{i}.yml") for kind in _RULE_KINDS for i in sorted(ids[kind])], problems)
    if problems.found or not (manifest and read_rates and read_hours and parts):
        return None
    return Rulebook(
        title=manifest.title,
        currency=manifest.currency,
        version=version,
        tolerances=Tolerances(
            near_certain=float(manifest.near_certain),
            chance_over=float(manifest.chance_over),
            question_worth=manifest.question_worth,
            mechanism_discount=float(manifest.mechanism_discount),
            stray_symptom=float(manifest.stray_symptom),
            repair_spread=manifest.repair_spread,
        ),
        facts=facts,
        symptoms=symptoms,
        causes=causes,
        derive=derive,
        evidence=evidence,
        cautions=cautions,
        checks=checks,
        policy=policy,
        warranty=warranty,
        limits=limits,
        authorities=authorities,
        rates=read_rates,
        parts=rates.read_parts(parts),
        service_hours=read_hours,
        cases=cases,
        lint_off={
            file: reasons
            for kind in shapes.kinds.values()
            for file, shape in kind.items()
            if (reasons := getattr(shape, "lint_off", None))
        },
        words=words,
        models=models,
        installation=installation,
        set_aside={kind: frozenset(names) for kind, names in set_aside.items() if names},
        spanish=spanish,
        spanish_gaps=spanish_gaps,
        spanish_twice=spanish_twice,
        ops_up_to=manifest.ops_up_to,
        reopen_days=manifest.reopen_days,
        together=tuple(map(tuple, manifest.together)),
        program_facts=program_facts,
        care=CareIntervals(manifest.care.filter_days, manifest.care.full_clean_days),
    )


def _ids(files: set[str]) -> dict[str, set[str]]:
    ids: dict[str, set[str]] = {kind: set() for kind in KINDS}
    for file in files:
        kind, _, name = file.rpartition("/")
        if kind in ids:
            ids[kind].add(name.removesuffix(".yml"))
    return ids


def _set_aside(shapes: Shapes) -> dict[str, dict[str, Status]]:
    """Kind -> id -> status of what is not live; files with faults count by what is sound in them."""
    found: dict[str, dict[str, Status]] = {}
    for kind in KINDS:
        read = {**shapes.kinds[kind], **{file: shape for file, (shape, _) in shapes.faulty[kind].items()}}
        statuses: dict[str, Status] = {file: getattr(shape, "status", "live") for file, shape in read.items()}
        found[kind] = {_id_of(file): status for file, status in statuses.items() if status != "live"}
    return found


def _id_of(file: str) -> str:
    return file.rpartition("/")[2].removesuffix(".yml")


def _smallest(manifest: ManifestFile, problems: Problems) -> Decimal:
    """The smallest amount of the rulebook's currency; a problem is added where there is no such currency."""
    try:
        return minor_unit(manifest.currency)
    except CurrencyDoesNotExist:
        message = f'"{manifest.currency}" is not a currency of ISO 4217, such as USD'
        problems.at("rulebook.yml", ("currency",), message)
        return Decimal("0.01")
