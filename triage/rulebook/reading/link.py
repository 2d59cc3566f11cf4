"""Makes the rulebook out of its files' shapes: ids followed, conditions parsed, all checked together."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, TypeVar, cast

from moneyed import CurrencyDoesNotExist

from triage.rulebook.built_in_facts import BUILTIN_FACTS, LIMIT_FACTS, POLICY_FACTS, in_currency
from triage.rulebook.model import CareIntervals, Rulebook, Tolerances
from triage.rulebook.reading import rates, rules, tables
from triage.rulebook.reading.consistency import check_cycles, check_groups, check_pairs, check_unique
from triage.rulebook.reading.facts import built_in_facts, read_facts
from triage.rulebook.reading.problems import Names, Problems, path_of
from triage.rulebook.reading.rates import read_models
from triage.rulebook.reading.shape_types import Shape
from triage.rulebook.reading.shapes import KINDS, FactFile, ManifestFile, ModelsFile
from triage.rulebook.reading.table_shapes import PartsFile, RatesFile, ServiceHoursFile
from triage.rulebook.reading.validate import touches
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
    early = Names(
        problems=problems,
        ids={**ids, "facts": ids["facts"] | set(BUILTIN_FACTS)},
        facts={**facts, **built_in_facts(ids["symptoms"], ids["causes"], components)},
        parts=set(parts.parts) if parts else None,
        priorities=set(hours.priorities) if hours else None,
        later=POLICY_FACTS | LIMIT_FACTS,
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

    least = Decimal("0.01") if manifest is None else _smallest(manifest, problems)
    if manifest is not None and manifest.ops_up_to is not None:
        tables.check_amount("rulebook.yml", ("ops_up_to",), manifest.ops_up_to, least, problems)
    authorities = tables.read_authorities(shapes.kinds["limits"], problems, least)
    derive = read("derive", rules.read_derive)
    evidence = read("evidence", rules.read_evidence)
    cautions = read("cautions", rules.read_caution)
    policy = read("policy", rules.read_policy, late)
    checks = read("checks", rules.read_check)
    symptoms = read("symptoms", tables.read_symptom)
    causes = read("causes", tables.read_cause)
    warranty = read(
        "warranty", lambda names, file, shape: tables.read_warranty(names, file, shape, components)
    )
    limits = read(
        "limits", lambda names, file, shape: tables.read_limit(names, file, shape, authorities, least), latest
    )
    words = read("words", tables.read_words)
    cases = read("cases", tables.read_whole_case)
    read_rates = rates.read_rates(early, "rates.yml", rate_file) if rate_file else None
    read_hours = rates.read_service_hours(early, "service_hours.yml", hours) if hours else None
    models = read_models(early, "models.yml", model_file) if model_file else {}
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
            stray_symptom=float(manifest.stray_symptom),
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
        ops_up_to=manifest.ops_up_to,
        reopen_days=manifest.reopen_days,
        care=CareIntervals(manifest.care.filter_days, manifest.care.full_clean_days),
    )


def _ids(files: set[str]) -> dict[str, set[str]]:
    ids: dict[str, set[str]] = {kind: set() for kind in KINDS}
    for file in files:
        kind, _, name = file.rpartition("/")
        if kind in ids:
            ids[kind].add(name.removesuffix(".yml"))
    return ids


def _smallest(manifest: ManifestFile, problems: Problems) -> Decimal:
    """The smallest amount of the rulebook's currency; a problem is added where there is no such currency."""
    try:
        return minor_unit(manifest.currency)
    except CurrencyDoesNotExist:
        message = f'"{manifest.currency}" is not a currency of ISO 4217, such as USD'
        problems.at("rulebook.yml", ("currency",), message)
        return Decimal("0.01")
