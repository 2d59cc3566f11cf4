"""Limit tables: rows that overlap, inputs for which no row holds, rows that are never reached."""

from __future__ import annotations

from collections.abc import Iterator

from triage.rulebook.terms import LimitTable
from triage.rulebook_care.lint.findings import Finding, finding, too_hard
from triage.rulebook_care.reasoning.formulas import Formula, TooHard
from triage.rulebook_care.reasoning.space import Reasoning, row_condition, table_inputs

EMPTY_WHEN_UNKNOWN = frozenset({"contractor", "model"})
"""Inputs that are the empty text where they are not known (`limits.limit_facts`)."""


def limit_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes limit-overlap, limit-gap, limit-gap-unknown, row-never-reached, never-fires, too-hard."""
    rulebook = reason.rulebook
    for _, table in sorted(rulebook.limits.items()):
        file = f"limits/{table.id}.yml"
        try:
            yield from _rows(reason, table, file)
            yield from _gaps(reason, table, file)
        except TooHard:
            yield too_hard(table.id, file, "the rows leave a gap or overlap")


def _rows(reason: Reasoning, table: LimitTable, file: str) -> Iterator[Finding]:
    conditions = [row_condition(row) for row in table.rows]
    here = _known(reason, table, only=EMPTY_WHEN_UNKNOWN)
    for index, condition in enumerate(conditions):
        path = ("rows", index)
        true = [*here, reason.true(condition)]
        if reason.together(true) is None:
            message = f"row {index + 1} of {table.id} can never hold"
            yield finding("never-fires", table.id, file, message, "Fix its tests, or take it out", path)
            continue
        if table.hit_policy == "FIRST":
            earlier = [reason.not_true(other) for other in conditions[:index]]
            if earlier and reason.together([*true, *earlier]) is None:
                message = f"the rows before row {index + 1} of {table.id} leave no case to it"
                yield finding(
                    "row-never-reached", table.id, file, message, "Move it up, or take it out", path
                )
        if table.hit_policy != "UNIQUE":
            continue
        for before, other in enumerate(conditions[:index]):
            both = reason.together([*true, reason.true(other)])
            if both is not None:
                where = reason.example(both, [condition, other])
                message = f"rows {before + 1} and {index + 1} of {table.id} both hold with {where}"
                fix = "Narrow one, or choose a hit policy that says which counts"
                yield finding("limit-overlap", table.id, file, message, fix, path)


def _gaps(reason: Reasoning, table: LimitTable, file: str) -> Iterator[Finding]:
    conditions = [row_condition(row) for row in table.rows]
    none_holds = [reason.not_true(condition) for condition in conditions]
    gap = reason.together([*_known(reason, table), *none_holds])
    if gap is not None:
        where = reason.space.example(gap, table_inputs(table))
        message = f"no row of {table.id} holds with {where}"
        fix = "Add a row for it; without an answer nothing may be spent"
        yield finding("limit-gap", table.id, file, message, fix, ("rows",))
        return
    gap = reason.together([*_known(reason, table, only=EMPTY_WHEN_UNKNOWN), *none_holds])
    if gap is not None:
        where = reason.space.example(gap, table_inputs(table))
        message = f"no row of {table.id} holds with {where}"
        fix = "Add a row that does not test it; without an answer nothing may be spent"
        yield finding("limit-gap-unknown", table.id, file, message, fix, ("rows",))


def _known(reason: Reasoning, table: LimitTable, only: frozenset[str] | None = None) -> list[Formula]:
    return [reason.is_known(name) for name in table_inputs(table) if only is None or name in only]
