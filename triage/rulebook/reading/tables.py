"""Reads symptoms, causes, warranty, limits and whole cases."""

from collections.abc import Mapping
from decimal import Decimal
from typing import get_args

from triage.logic.conditions import UnaryTest
from triage.rulebook.built_in_facts import LIMIT_DAY
from triage.rulebook.model import OTHER_CAUSE, Cause, Outcome, Repair, Symptom, WholeCase
from triage.rulebook.reading.conditions import read_test, read_when
from triage.rulebook.reading.problems import Names, Problems, read_validity
from triage.rulebook.reading.rules import typed
from triage.rulebook.reading.shapes import CauseFile, SymptomFile, WholeCaseFile, WordsFile
from triage.rulebook.reading.table_shapes import (
    AuthorityShape,
    LimitFile,
    LimitRowShape,
    Shape,
    WarrantyFile,
)
from triage.rulebook.reading.validate import as_number
from triage.rulebook.terms import (
    Absence,
    Authority,
    LimitRow,
    LimitTable,
    WarrantyPeriod,
    WarrantyRisk,
    WarrantyTerms,
    Words,
    WordsCase,
)
from triage.values.money import LARGEST_AMOUNT
from triage.values.plain_data import Path
from triage.values.shown import hint

DEFAULT_PERIOD = "default"
_GIVES = {"nte": "amount", "authority": "authority"}


def read_symptom(names: Names, file: str, shape: SymptomFile) -> Symptom:
    """A symptom's base shares, alone and together with another; causes exist, `other` is among them."""
    for symptom in shape.together_with:
        names.check("symptoms", symptom, file, ("together_with", symptom), key=True)
    pairs = ((("together_with", symptom), shares) for symptom, shares in shape.together_with.items())
    for path, shares in [(("shares",), shape.shares), *pairs]:
        if OTHER_CAUSE not in shares:
            message = "`other` is missing: how many of the calls ended with a cause not named here?"
            names.problems.at(file, path, message)
        for cause in shares:
            names.check("causes", cause, file, (*path, cause), key=True)
    for index, fact in enumerate(shape.ask_first):
        known = names.fact(fact, file, ("ask_first", index))
        if fact in shape.ask_first[:index]:
            names.problems.at(file, ("ask_first", index), f"{fact} stands here twice")
        elif known is not None and known.asked_of != "clerk":
            message = f"{fact} is not asked of the clerk; name a fact with `asked_of: clerk`"
            names.problems.at(file, ("ask_first", index), message)
    return shape.as_record(Symptom)


def read_words(names: Names, file: str, shape: WordsFile) -> Words:
    """What callers say of one danger's fact or one symptom, in at least one language."""
    if shape.danger is None and shape.symptom is None:
        names.problems.at(file, ("id",), "name `danger`, a fact, or `symptom`, or both")
    if not (shape.en or shape.es):
        names.problems.at(file, ("id",), "there are no phrases; add some under `en` or `es`")
    if shape.danger is not None:
        fact = names.fact(shape.danger, file, ("danger",))
        if fact is not None and not fact.danger:
            message = f'"{fact.id}" is no danger; set `danger: true` in facts/{fact.id}.yml'
            names.problems.at(file, ("danger",), message)
    if shape.symptom is not None:
        names.check("symptoms", shape.symptom, file, ("symptom",))
    cases = tuple(WordsCase(case.said, case.heard) for case in shape.cases)
    return shape.as_record(Words, cases=cases, file=file)


def read_cause(names: Names, file: str, shape: CauseFile) -> Cause:
    """A cause with its typical repair; its parts are in parts.yml."""
    for part in shape.repair.parts:
        if names.parts is not None and part not in names.parts:
            fix = hint(part, names.parts, "; add it to parts.yml")
            names.problems.at(
                file, ("repair", "parts", part), f'there is no part "{part[:64]}"{fix}', key=True
            )
    return shape.as_record(Cause, repair=shape.repair.as_record(Repair))


def read_warranty(names: Names, file: str, shape: WarrantyFile, components: frozenset[str]) -> WarrantyTerms:
    """Warranty terms; `default` is among the periods, every other key is some cause's component."""
    if DEFAULT_PERIOD not in shape.periods:
        names.problems.at(file, ("periods",), "`default` is missing: the months for every other component")
    for component in shape.periods:
        if component != DEFAULT_PERIOD and component not in components:
            fix = hint(component, components, f"; components are {', '.join(sorted(components))[:300]}")
            message = f'no cause has the component "{component}"{fix}'
            names.problems.at(file, ("periods", component), message, key=True)
    risks = tuple(
        WarrantyRisk(read_when(names, file, ("at_risk", index, "when"), risk.when), risk.say)
        for index, risk in enumerate(shape.at_risk)
    )
    return shape.as_record(
        WarrantyTerms,
        models=frozenset(shape.models),
        periods={name: period.as_record(WarrantyPeriod) for name, period in shape.periods.items()},
        risks=risks,
        valid=read_validity(names.problems, file, (), shape),
    )


def read_authorities(
    shapes: Mapping[str, Shape], problems: Problems, least: Decimal
) -> Mapping[str, Authority]:
    """The authorities of all limit tables (file -> shape); each is named in one table.

    `least` is the currency's smallest amount.
    """
    authorities: dict[str, Authority] = {}
    for file, shape in shapes.items():
        for name, authority in shape.authorities.items() if isinstance(shape, LimitFile) else ():
            if name in authorities:
                message = f'the authority "{name}" is named in two tables; keep one'
                problems.at(file, ("authorities", name), message, key=True)
            if authority.up_to is not None:
                check_amount(file, ("authorities", name, "up_to"), authority.up_to, least, problems)
            authorities[name] = _authority(file, name, authority, problems)
    for file, shape in shapes.items():
        if isinstance(shape, LimitFile):
            _check_deputies(file, shape, authorities, problems)
    return authorities


def _authority(file: str, name: str, shape: AuthorityShape, problems: Problems) -> Authority:
    for index, absence in enumerate(shape.absent):
        if absence.last < absence.first:
            message = f"the absence ends on {absence.last}, before it begins on {absence.first}"
            problems.at(file, ("authorities", name, "absent", index, "last"), message)
    absent = tuple(absence.as_record(Absence) for absence in shape.absent)
    return shape.as_record(Authority, id=name, absent=absent)


def _check_deputies(
    file: str, shape: LimitFile, authorities: Mapping[str, Authority], problems: Problems
) -> None:
    for name, authority in shape.authorities.items():
        for index, deputy in enumerate(authority.deputies):
            here: Path = ("authorities", name, "deputies", index)
            if deputy == name:
                problems.at(file, here, f'"{name}" cannot be its own deputy; name another authority')
            elif deputy not in authorities:
                fix = hint(deputy, authorities, "; name it in `authorities`")
                problems.at(file, here, f'there is no authority "{deputy[:64]}"{fix}')
            elif deputy in authority.deputies[:index]:
                problems.at(file, here, f'the deputy "{deputy}" stands twice; keep one')


def check_amount(file: str, path: Path, amount: Decimal, least: Decimal, problems: Problems) -> None:
    """Adds a problem for an amount beyond all meaning, or no multiple of the smallest, `least`."""
    if amount.adjusted() > LARGEST_AMOUNT:
        problems.at(file, path, f"{path[-1]}: {amount} cannot be meant as an amount; fix it")
    elif amount % least:
        message = f"{path[-1]}: {amount} has more places than the currency; write a multiple of {least}"
        problems.at(file, path, message)


def read_limit(
    names: Names, file: str, shape: LimitFile, authorities: Mapping[str, Authority], least: Decimal
) -> LimitTable:
    """A decision table; inputs are facts, every row tests inputs and gives every output.

    `least` is the currency's smallest amount.
    """
    for index, name in enumerate(shape.inputs):
        names.check("facts", name, file, ("inputs", index))
    gives = _GIVES[shape.kind]
    if gives not in shape.outputs:
        message = f"a table of kind {shape.kind} gives `{gives}`; name it in `outputs`"
        names.problems.at(file, ("outputs",), message)
    if shape.hit_policy == "PRIORITY" and not shape.output_order:
        message = "hit policy PRIORITY needs `output_order`: the outputs, best first"
        names.problems.at(file, ("hit_policy",), message)
    if shape.collect is not None and shape.hit_policy != "COLLECT":
        names.problems.at(file, ("collect",), "`collect` goes with hit policy COLLECT only")
    if shape.collect is None and shape.hit_policy == "COLLECT":
        names.problems.at(file, ("hit_policy",), "hit policy COLLECT needs `collect`: SUM, MIN or MAX")
    if shape.hit_policy == "COLLECT" and shape.kind == "authority":
        names.problems.at(
            file, ("hit_policy",), "authorities cannot be summed; use UNIQUE, FIRST or PRIORITY"
        )
    rows = tuple(
        _row(names, file, shape, index, row, authorities, least) for index, row in enumerate(shape.rows)
    )
    if shape.hit_policy == "PRIORITY":
        _check_order(names, file, shape, rows)
    return shape.as_record(LimitTable, rows=rows)


def _row(
    names: Names,
    file: str,
    shape: LimitFile,
    index: int,
    row: LimitRowShape,
    authorities: Mapping[str, Authority],
    least: Decimal,
) -> LimitRow:
    path: Path = ("rows", index)
    tests: dict[str, UnaryTest] = {}
    for name, raw in row.when.items():
        here = (*path, "when", name)
        if name not in shape.inputs:
            fix = hint(name, shape.inputs, "; name it in `inputs`")
            names.problems.at(file, here, f'"{name}" is not an input of this table{fix}', key=True)
            continue
        fact = names.facts.get(name)
        test = read_test(names, file, here, raw, fact) if fact is not None else None
        if test is not None:
            tests[name] = test
    for name in shape.outputs:
        if name not in row.then:
            names.problems.at(file, (*path, "then"), f'the output "{name}" is missing in this row')
    for name, value in row.then.items():
        here = (*path, "then", name)
        if name not in shape.outputs:
            fix = hint(name, shape.outputs, "; name it in `outputs`")
            names.problems.at(file, here, f'"{name}" is not an output of this table{fix}', key=True)
        elif name in ("amount", "amount_12_months") and shape.kind == "nte":
            if isinstance(value, bool) or not isinstance(value, Decimal) or value < 0:
                names.problems.at(file, here, f"an amount is a number, as 350.00{as_number(value)}")
            else:
                check_amount(file, here, value, least, names.problems)
        elif name == "authority" and shape.kind == "authority" and value not in authorities:
            fix = hint(str(value), authorities, "; name it in `authorities`")
            names.problems.at(file, here, f'there is no authority "{str(value)[:64]}"{fix}')
    valid = read_validity(names.problems, file, path, row)
    day = valid.test()
    if day is not None:
        if LIMIT_DAY in tests:
            message = f"`{LIMIT_DAY}` is tested already; take the test or the days out"
            names.problems.at(file, (*path, "when", LIMIT_DAY), message, key=True)
        tests[LIMIT_DAY] = day
    return LimitRow(tests, dict(row.then), names.problems.line(file, path), valid)


def _check_order(names: Names, file: str, shape: LimitFile, rows: tuple[LimitRow, ...]) -> None:
    order = shape.output_order
    gives = _GIVES[shape.kind]
    for index, row in enumerate(rows):
        if gives in row.then and order and row.then[gives] not in order:
            message = f"{row.then[gives]} is not in `output_order`; every output has its place there"
            names.problems.at(file, ("rows", index, "then", gives), message)


def read_whole_case(names: Names, file: str, shape: WholeCaseFile) -> WholeCase:
    """A whole case; what its report and expectation name exists."""
    symptoms = shape.report.get("symptoms")
    if not isinstance(symptoms, list) or not symptoms:
        names.problems.at(file, ("report", "symptoms"), "the report names no symptom; list at least one")
        symptoms = []
    for index, symptom in enumerate(symptoms):
        names.check("symptoms", str(symptom), file, ("report", "symptoms", index))
    answers = shape.report.get("answers") or {}
    if not isinstance(answers, dict):
        names.problems.at(file, ("report", "answers"), "answers are a mapping of fact to value")
        answers = {}
    for name, value in answers.items():
        here: Path = ("report", "answers", name)
        fact = names.fact(name, file, here)
        if fact is not None:
            typed(names, file, here, fact, value)
    _check_expected(names, file, shape.expect)
    return shape.as_record(WholeCase)


def _check_expected(names: Names, file: str, expect: Mapping[str, object]) -> None:
    for key in ("outcome", "not_outcome"):
        wanted = expect.get(key, [])
        outcomes = get_args(Outcome)
        for outcome in wanted if isinstance(wanted, list) else [wanted]:
            if outcome not in outcomes:
                message = f'"{str(outcome)[:40]}" is not an outcome{hint(str(outcome), outcomes)}'
                names.problems.at(file, ("expect", key), message)
    for key, kind in (("top_cause", "causes"), ("first_check", "checks"), ("cautions", "cautions")):
        wanted = expect.get(key)
        for name in wanted if isinstance(wanted, list) else [wanted]:
            if isinstance(name, str):
                names.check(kind, name, file, ("expect", key))
