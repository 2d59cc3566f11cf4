"""Conditions as formulas over pieces of facts, and a search for an example that makes formulas true.

A condition has three values (true, false, unknown), so four questions can be put to it: is it true, false,
not true, not false? `Space.formula` turns each into and/or over sets of pieces. `satisfy` finds a situation
in which all of some formulas hold, or proves that there is none: the search of Davis, Logemann and Loveland
("A machine program for theorem-proving", 1962; from memory), with sets of pieces in place of true and false.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from triage.logic.conditions import Condition, FactTest, Known, Not, Scalar, UnaryTest, holds
from triage.logic.normal_form import Leaf, normal_form
from triage.rulebook.fact_values import write_value
from triage.rulebook_care.reasoning.intervals import Pieces

Wish: TypeAlias = Literal["true", "false", "not true", "not false"]

Variable: TypeAlias = tuple[str, str]
"""A fact and a mark: "" for the fact itself, a member of a many-valued choice, or the number of a copy."""

YES, NO = 1, 2
"""A member of a many-valued choice is among the values, or is not."""

MOST_WORK = 1_000_000
"""Of one question, in clauses looked at: a second or two."""


@dataclass(frozen=True, slots=True)
class Within:
    """The variable lies in these pieces."""

    variable: Variable
    pieces: int


@dataclass(frozen=True, slots=True)
class Every:
    parts: tuple[Formula, ...]


@dataclass(frozen=True, slots=True)
class Some:
    parts: tuple[Formula, ...]


Formula: TypeAlias = Within | Every | Some

Situation: TypeAlias = Mapping[Variable, int]
"""Pieces by variable; a variable that is not named may be anything."""

HOLDS = Every(())
FAILS = Some(())


class TooHard(Exception):
    """The search gave up: nothing is proved either way."""


class Space:
    """The pieces of all facts that some conditions look at, and the formulas of those conditions.

    `pieces` is by fact; `members` gives for each many-valued choice its members. These are always known.
    """

    def __init__(self, pieces: Mapping[str, Pieces], members: Mapping[str, tuple[str, ...]]) -> None:
        self.pieces = pieces
        self.members = members
        self._kept: dict[tuple[int, Wish], tuple[Condition, Formula]] = {}

    def formula(self, condition: Condition, wish: Wish) -> Formula:
        """What must be so for the condition to be as wished."""
        key = id(condition), wish
        kept = self._kept.get(key)
        if kept is None:  # the condition is kept too: its id stays its own
            kept = self._kept[key] = condition, self._formula(condition, wish)
        return kept[1]

    def _formula(self, condition: Condition, wish: Wish) -> Formula:
        unknown_too = wish.startswith("not")

        def of_leaf(leaf: Leaf, wanted: bool) -> Formula:
            match leaf:
                case Known(fact):
                    return self._presence(fact, wanted)
                case FactTest(fact, test) if fact in self.members:
                    return self._of_members(fact, test, wanted)
                case FactTest(fact, test):
                    pieces = self.pieces[fact]
                    passing = pieces.passing(test)
                    found = passing if wanted else pieces.known & ~passing
                    return within((fact, ""), found | (pieces.unknown if unknown_too else 0))

        return normal_form(condition, wish in ("true", "not false"), of_leaf, every, some)

    def _presence(self, fact: str, known: bool) -> Formula:
        if fact in self.members:
            return HOLDS if known else FAILS
        pieces = self.pieces[fact]
        return within((fact, ""), pieces.known if known else pieces.unknown)

    def _of_members(self, fact: str, test: UnaryTest, wanted: bool) -> Formula:
        none_of = isinstance(test, Not)
        tests = test.tests if isinstance(test, Not) else (test,)
        named = [member for member in self.members[fact] if any(holds(part, member) for part in tests)]
        if wanted is not none_of:
            return some(Within((fact, member), YES) for member in named)
        return every(Within((fact, member), NO) for member in named)

    def example(self, situation: Situation, only: Iterable[str] | None = None) -> str:
        """A situation as people read it: `filter_days = 31, fill_level not known`."""
        shown = []
        wanted = None if only is None else set(only)
        for (fact, mark), pieces in sorted(situation.items()):
            if wanted is not None and fact not in wanted:
                continue
            if fact in self.members:
                if pieces == YES:
                    shown.append(f"{fact} = {mark}")
            elif fact in self.pieces and not mark:
                shown.append(f"{fact} {_shown(self.pieces[fact].example(pieces))}")
        return ", ".join(shown) or "any report"


def within(variable: Variable, pieces: int) -> Formula:
    return Within(variable, pieces) if pieces else FAILS


def every(parts: Iterable[Formula]) -> Formula:
    """All of them; nested ones laid flat."""
    flat: list[Formula] = []
    for part in parts:
        if part == FAILS:
            return FAILS
        flat.extend(part.parts if isinstance(part, Every) else (part,))
    return flat[0] if len(flat) == 1 else Every(tuple(flat))


def some(parts: Iterable[Formula]) -> Formula:
    """At least one; sets of the same variable are joined."""
    joined: dict[Variable, int] = {}
    others: list[Formula] = []
    for part in parts:
        if part == HOLDS:
            return HOLDS
        for each in part.parts if isinstance(part, Some) else (part,):
            if isinstance(each, Within):
                joined[each.variable] = joined.get(each.variable, 0) | each.pieces
            else:
                others.append(each)
    flat = [*(Within(variable, pieces) for variable, pieces in joined.items()), *others]
    return flat[0] if len(flat) == 1 else Some(tuple(flat))


def copied(formula: Formula, fact: str, copy: str) -> Formula:
    """The formula with a copy of one fact in its place, which may have another value."""
    match formula:
        case Within((name, ""), pieces) if name == fact:
            return Within((fact, copy), pieces)
        case Within():
            return formula
        case Every(parts):
            return Every(tuple(copied(part, fact, copy) for part in parts))
        case Some(parts):
            return Some(tuple(copied(part, fact, copy) for part in parts))


@dataclass(slots=True)
class Effort:
    """The work a search may still do, in clauses looked at: a count, so that no clock decides."""

    left: int = MOST_WORK

    def spend(self, clauses: int) -> None:
        self.left -= clauses + 1
        if self.left < 0:
            raise TooHard


def satisfy(
    formulas: Iterable[Formula], effort: Effort | None = None, so_far: Situation | None = None
) -> Situation | None:
    """A situation in which all the formulas hold; None where there is none. Raises TooHard.

    `so_far` is what holds already, as a formula of its own would say it.
    """
    box: dict[Variable, int] = dict(so_far or {})
    clauses: list[Some] = []
    if not all(_put(formula, box, clauses) for formula in formulas):
        return None
    return _search(box, clauses, effort or Effort())


def _put(formula: Formula, box: dict[Variable, int], clauses: list[Some]) -> bool:
    """Adds a formula to what must hold; False where it cannot."""
    match formula:
        case Within(variable, pieces):
            left = box.get(variable, pieces) & pieces
            box[variable] = left
            return left != 0
        case Every(parts):
            return all(_put(part, box, clauses) for part in parts)
        case Some(parts):
            clauses.append(formula)
            return bool(parts)


def _search(box: dict[Variable, int], clauses: list[Some], effort: Effort) -> Situation | None:
    """Depth first; a stack of its own, since clauses may be thousands."""
    todo: list[tuple[dict[Variable, int], list[Some], Formula]] = [(box, clauses, HOLDS)]
    while todo:
        before, others, choice = todo.pop()
        tried, more = dict(before), list(others)
        left = _settle(tried, more, effort) if _put(choice, tried, more) else None
        if left is None:
            continue
        if not left:
            return tried
        narrowest = min(range(len(left)), key=lambda index: len(left[index].parts))
        rest = [clause for index, clause in enumerate(left) if index != narrowest]
        todo.extend((tried, rest, part) for part in reversed(left[narrowest].parts))
    return None


def _settle(box: dict[Variable, int], clauses: list[Some], effort: Effort) -> list[Some] | None:
    """Draws every forced conclusion into `box`. The clauses left with a choice; None: it cannot be."""
    todo = clauses
    while True:
        effort.spend(len(todo))
        left: list[Some] = []
        found: list[Some] = []
        forced = False
        for clause in todo:
            if any(_sure(part, box) for part in clause.parts):
                continue
            parts = tuple(part for part in clause.parts if _possible(part, box))
            if not parts:
                return None
            if len(parts) > 1:
                left.append(Some(parts))
            elif _put(parts[0], box, found):
                forced = True
            else:
                return None
        if not forced:
            return left
        todo = [*left, *found]


def _sure(formula: Formula, box: Situation) -> bool:
    return isinstance(formula, Within) and not box.get(formula.variable, ~0) & ~formula.pieces


def _possible(formula: Formula, box: Situation) -> bool:
    match formula:
        case Within(variable, pieces):
            return bool(box.get(variable, ~0) & pieces)
        case Every(parts):
            return all(_possible(part, box) for part in parts)
        case Some(parts):
            return any(_possible(part, box) for part in parts)


def _shown(value: Scalar | None) -> str:
    if value is None:
        return "not known"
    if value == "":
        return "empty"
    return f"= {str(value).lower() if isinstance(value, bool) else write_value(value)}"
