"""Reads rules and checks: heads, conditions, cases, and what each sets, weighs, warns of or argues."""

import string
from collections.abc import Iterable, Iterator, Mapping, Sequence

from triage.logic.conditions import ALWAYS, MANY_VALUED, Condition, Scalar
from triage.rulebook.built_in_facts import BUILTIN_FACTS
from triage.rulebook.fact_values import read_members, read_value
from triage.rulebook.model import (
    OTHER_CAUSE,
    OTHERS,
    Caution,
    Check,
    DeriveRule,
    EvidenceRule,
    Fact,
    PolicyRule,
    RuleCase,
    RuleHead,
)
from triage.rulebook.reading.conditions import read_when
from triage.rulebook.reading.problems import Names, read_validity
from triage.rulebook.reading.shapes import (
    CautionFile,
    CheckFile,
    DeriveFile,
    EvidenceFile,
    PolicyFile,
    RuleHeadShape,
)
from triage.rulebook.reading.table_shapes import ScalarValue
from triage.values.errors import InputError
from triage.values.plain_data import Path
from triage.values.shown import hint


def read_derive(names: Names, file: str, shape: DeriveFile) -> DeriveRule:
    """A derive rule; `set` and `otherwise` name facts of the rulebook's own vocabulary."""
    return DeriveRule(
        head=_head(names, file, shape),
        sets=_settings(names, file, ("then", "set"), shape.then.set),
        otherwise=_settings(names, file, ("then", "otherwise"), shape.then.otherwise),
        priority=shape.priority,
    )


def read_evidence(names: Names, file: str, shape: EvidenceFile) -> EvidenceRule:
    """An evidence rule; every cause exists and `others` is said."""
    path: Path = ("then", "seen_with")
    seen = {cause: float(chance) for cause, chance in shape.then.seen_with.items()}
    if OTHERS not in seen:
        message = "`others` is missing: in how many calls with any other cause is this seen?"
        names.problems.at(file, path, message)
    _causes(names, file, path, [cause for cause in seen if cause != OTHERS])
    return EvidenceRule(
        head=_head(names, file, shape),
        seen_with={cause: chance for cause, chance in seen.items() if cause != OTHERS},
        others=seen.get(OTHERS, 0.5),
        group=shape.group,
        band=shape.band,
        mechanism=shape.mechanism,
    )


def read_caution(names: Names, file: str, shape: CautionFile) -> Caution:
    """A caution; the checks it forbids exist."""
    if not shape.with_checks and not shape.when:
        message = "`when` is missing; a caution without one is said beside checks and has `with_checks: true`"
        names.problems.at(file, (), message)
    forbids = [] if shape.then.forbids == "all" else list(shape.then.forbids)
    for index, check in enumerate(forbids):
        names.check("checks", check, file, ("then", "forbids", index))
    for index, check in enumerate(shape.then.first):
        names.check("checks", check, file, ("then", "first", index))
    _visit_priority(names, file, shape.then.visit_priority)
    return shape.then.as_record(
        Caution,
        head=_head(names, file, shape, needs_cases=bool(shape.when)),
        only_with_checks=shape.with_checks,
        forbids=frozenset(forbids),
        forbids_all_checks=shape.then.forbids == "all",
    )


def read_policy(names: Names, file: str, shape: PolicyFile) -> PolicyRule:
    """A policy rule; the facts its text names in {} exist."""
    check_placeholders(names, file, ("then", "text"), shape.then.text)
    _visit_priority(names, file, shape.then.visit_priority)
    return shape.then.as_record(PolicyRule, head=_head(names, file, shape))


def read_check(names: Names, file: str, shape: CheckFile) -> Check:
    """An in-store check; what it resolves and the cautions beside it exist."""
    _causes(names, file, ("resolves",), shape.resolves)
    for index, caution in enumerate(shape.cautions):
        names.check("cautions", caution, file, ("cautions", index))
    return shape.as_record(
        Check,
        when=read_when(names, file, ("when",), shape.when),
        resolves={cause: float(chance) for cause, chance in shape.resolves.items()},
        valid=read_validity(names.problems, file, (), shape),
    )


def check_together(
    names: Names,
    together: Sequence[Sequence[str]],
    checks: Mapping[str, Check],
    cautions: Mapping[str, Caution],
) -> None:
    """What may be done together are checks of the clerk's, each once, and none that a caution keeps alone."""
    for place, order in enumerate(together):
        for index, id_ in enumerate(order):
            path = ("together", place, index)
            names.check("checks", id_, "rulebook.yml", path)
            if id_ in order[:index]:
                names.problems.at("rulebook.yml", path, f"{id_} stands twice in this list; take one out")
            check = checks.get(id_)
            if check is None:
                continue
            if check.who != "clerk":
                message = f"{id_} is a technician's check, which is never in a plan; take it out"
                names.problems.at("rulebook.yml", path, message)
            for caution in check.cautions:
                if caution in cautions and cautions[caution].alone:
                    message = f"{id_} is done by itself, as its caution {caution} says; take it out"
                    names.problems.at("rulebook.yml", path, message)


def check_placeholders(names: Names, file: str, path: Path, text: str) -> None:
    """Every {fact} in a text exists."""
    try:
        fields = [field for _, field, _, _ in string.Formatter().parse(text) if field is not None]
    except ValueError as error:
        names.problems.at(file, path, f"the braces of the text do not match ({error}); write {{fact}}")
        return
    for field in fields:
        if field not in names.ids["facts"]:
            fix = hint(field, names.ids["facts"], "; take it out, or define the fact")
            names.problems.at(file, path, f'the text names "{{{field[:64]}}}", which is no fact{fix}')


def _head(names: Names, file: str, shape: RuleHeadShape, *, needs_cases: bool = True) -> RuleHead:
    if needs_cases and not shape.when and not isinstance(shape, CautionFile):
        names.problems.at(file, ("when",), "the condition is empty, so the rule would always fire; say when")
    when: Condition = ALWAYS
    if shape.when:
        when = read_when(names, file, ("when",), shape.when)
    cases = tuple(_cases(names, file, shape))
    if needs_cases:
        for fires, wanted in ((True, "fires"), (False, "stays silent")):
            if not any(case.fires is fires for case in cases):
                names.problems.at(
                    file, ("cases",), f"no case {wanted}; one that fires and one that stays silent"
                )
    valid = read_validity(names.problems, file, (), shape)
    return shape.as_record(RuleHead, when=when, cases=cases, file=file, valid=valid)


def _cases(names: Names, file: str, shape: RuleHeadShape) -> Iterator[RuleCase]:
    for index, case in enumerate(shape.cases):
        facts: dict[str, Scalar | frozenset[str]] = {}
        for name, raw in case.facts.items():
            path: Path = ("cases", index, "facts", name)
            fact = names.fact(name, file, path)
            value = typed(names, file, path, fact, raw) if fact is not None else None
            if value is not None:
                facts[name] = value
        yield RuleCase(facts=facts, fires=case.fires, note=case.note)


def typed(
    names: Names, file: str, path: Path, fact: Fact, raw: ScalarValue | list[str]
) -> Scalar | frozenset[str] | None:
    """A fact's value out of a file, or None with a located problem."""
    try:
        return read_members(fact, raw) if fact.id in MANY_VALUED else read_value(fact, raw)
    except InputError as error:
        for problem in error.problems:
            names.problems.at(file, path, problem.message)
        return None


def _settings(names: Names, file: str, path: Path, raw: Mapping[str, ScalarValue]) -> Mapping[str, Scalar]:
    values: dict[str, Scalar] = {}
    for name, value in raw.items():
        here = (*path, name)
        if name in BUILTIN_FACTS:
            message = f'"{name}" is a fact the program computes itself; a rule sets facts of the rulebook'
            names.problems.at(file, here, message, key=True)
            continue
        fact = names.fact(name, file, here)
        read = typed(names, file, here, fact, value) if fact is not None else None
        if read is not None and not isinstance(read, frozenset):
            values[name] = read
    return values


def _causes(names: Names, file: str, path: Path, causes: Iterable[str]) -> None:
    for cause in causes:
        if cause != OTHER_CAUSE:
            names.check("causes", cause, file, (*path, cause), key=True)


def _visit_priority(names: Names, file: str, priority: int | None) -> None:
    if priority is not None and names.priorities is not None and priority not in names.priorities:
        known = ", ".join(str(number) for number in sorted(names.priorities))
        message = f"priority {priority} is not in service_hours.yml; its priorities are {known}"
        names.problems.at(file, ("then", "visit_priority"), message)
