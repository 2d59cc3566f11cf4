"""Conditions and facts as small integers and branches of them, the only thing the durable engine is given.

Of an ordered fact all bounds in the rules of a stage are collected; a value is handed in as its rank among
them: 2·i + 1 when it equals bound i, else the even number between. Every test then is a set of ranks, so
Decimals, dates and times compare exactly. Facts that are only tested for equality are interned: the number
of the value named, or one number for any other. A many-valued fact has one field, 0 or 1, for each value
named. Unknown facts have no field, so no test on them holds; presence, where it is asked, is a field of its
own.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeAlias

from triage.logic.conditions import (
    MANY_VALUED,
    AnyOf,
    Anything,
    Compare,
    Condition,
    Facts,
    FactTest,
    FactValue,
    Interval,
    Known,
    NoneOf,
    Not,
    OneOf,
    Places,
    UnaryTest,
    Unknown,
    places_passing,
    single_tests,
    values_in,
    walk,
)
from triage.logic.engine import RuleTooWide
from triage.logic.normal_form import Leaf, alternatives

Span: TypeAlias = tuple[int, int]
"""Lowest and highest rank that pass, both included."""

Branch: TypeAlias = Mapping[int, Span]
"""A conjunction: field number -> ranks that pass."""


@dataclass(frozen=True, slots=True)
class RankField:
    """One field for the value of one fact. `top` is the highest rank it can have."""

    number: int
    top: int
    rank_of: Callable[[Any], int]
    rank_of_bound: Mapping[Any, int]
    pieces: tuple[str, ...]  # by rank, as in `Fields.encode`

    def spans(self, test: UnaryTest, wanted: bool) -> list[Span]:
        all_ranks = (2 << self.top) - 1

        def below(bound: Any) -> Places:
            return (1 << self.rank_of_bound[bound]) - 1

        def up_to(bound: Any) -> Places:
            return (2 << self.rank_of_bound[bound]) - 1

        ranks = places_passing(test, all_ranks, lambda value: 1 << self.rank_of_bound[value], below, up_to)
        return _spans(ranks if wanted else all_ranks & ~ranks)


@dataclass(frozen=True, slots=True)
class FactFields:
    """The fields that one fact fills."""

    fact: str
    presence: int | None
    rank: RankField | None
    members: Mapping[str, int]  # value of a many-valued fact -> field, one after the other
    no_member: tuple[str, ...]  # their pieces when the fact has none of the values


@dataclass(frozen=True, slots=True)
class Fields:
    """All fields of a stage."""

    facts: Mapping[str, FactFields]
    none_known: tuple[str, ...]  # the pieces when no fact is known

    def encode(self, facts: Facts) -> list[str]:
        """The fields as pieces of a JSON object, by field number; a field without a value is empty."""
        pieces = list(self.none_known)
        for fact, fields in self.facts.items():
            value = facts.get(fact)
            if value is None:
                continue
            if fields.presence is not None:
                pieces[fields.presence] = _piece(fields.presence, 1)
            if fields.rank is not None:
                pieces[fields.rank.number] = fields.rank.pieces[fields.rank.rank_of(value)]
            if fields.members:
                first = next(iter(fields.members.values()))
                pieces[first : first + len(fields.members)] = fields.no_member
                for member in _members(value):
                    number = fields.members.get(member)
                    if number is not None:
                        pieces[number] = _piece(number, 1)
        return pieces


def fields_for(conditions: Mapping[str, Condition]) -> Fields:
    """The fields that the conditions of a stage (rule id -> condition) need. Raises RuleTooWide."""
    bounds: dict[str, dict[Any, None]] = {}
    ordered: set[str] = set()
    present: set[str] = set()
    for rule, condition in conditions.items():
        for leaf in walk(condition):
            match leaf:
                case Known(fact) | Unknown(fact):
                    present.add(fact)
                case FactTest(_, Anything()):
                    pass
                case FactTest(fact, test):
                    present |= {fact} & MANY_VALUED
                    bounds.setdefault(fact, {}).update(dict.fromkeys(values_in(test)))
                    if any(_asks_for_order(part) for part in single_tests(test)):
                        ordered.add(fact)
                        if fact in MANY_VALUED:
                            raise RuleTooWide(rule, f'asks for an order of "{fact}", which has none')
    numbers = iter(range(10**9))
    fields = {}
    for fact in dict.fromkeys((*bounds, *sorted(present))):
        presence = next(numbers) if fact in present else None
        many = fact in MANY_VALUED
        ranked = not many and fact in bounds
        rank = _rank_field(next(numbers), bounds[fact], fact in ordered) if ranked else None
        members = {value: next(numbers) for value in bounds.get(fact, ())} if many else {}
        no_member = tuple(_piece(number, 0) for number in members.values())
        fields[fact] = FactFields(fact, presence, rank, members, no_member)
    none_known = [""] * next(numbers)
    for number in (each.presence for each in fields.values() if each.presence is not None):
        none_known[number] = _piece(number, 0)
    return Fields(fields, tuple(none_known))


@lru_cache(maxsize=4096)
def _piece(number: int, value: int) -> str:
    return f',"f{number}":{value}'


def _pieces(number: int, top: int) -> tuple[str, ...]:
    return tuple(_piece(number, rank) for rank in range(top + 1))


def _rank_field(number: int, bounds: Iterable[Any], ordered: bool) -> RankField:
    if not ordered:
        interned = {value: rank for rank, value in enumerate(bounds)}
        other = len(interned)
        return RankField(
            number, other, lambda value: interned.get(value, other), interned, _pieces(number, other)
        )
    sorted_bounds = sorted(bounds)
    exact = {bound: 2 * index + 1 for index, bound in enumerate(sorted_bounds)}

    def rank_of(value: Any) -> int:
        index = bisect_left(sorted_bounds, value)
        equal = index < len(sorted_bounds) and sorted_bounds[index] == value
        return 2 * index + (1 if equal else 0)

    top = 2 * len(sorted_bounds)
    return RankField(number, top, rank_of, exact, _pieces(number, top))


def _asks_for_order(test: Compare | Interval | Anything) -> bool:
    return isinstance(test, Interval) or (isinstance(test, Compare) and test.operator != "=")


def _members(value: FactValue) -> frozenset[Any]:
    return value if isinstance(value, frozenset) else frozenset({value})


def _spans(ranks: Places) -> list[Span]:
    """The runs of neighboring ranks in a set."""
    spans = []
    while ranks:
        first = (ranks & -ranks).bit_length() - 1
        gap = ~(ranks >> first)
        last = first + (gap & -gap).bit_length() - 2
        spans.append((first, last))
        ranks = (ranks >> (last + 1)) << (last + 1)
    return spans


MAX_BRANCHES = 100
"""Of one condition; more is a table, not a rule."""


def branches_of(rule: str, condition: Condition, wanted: bool, fields: Fields) -> list[Branch]:
    """The alternatives under which the condition of `rule` has the wanted value; none: it never has.

    An empty branch holds always. Raises RuleTooWide beyond MAX_BRANCHES.
    """
    reason = f"has more than {MAX_BRANCHES} alternatives; split it into rules that each say one thing"
    too_many = RuleTooWide(rule, reason)

    def branches(condition: Condition, wanted: bool) -> list[Branch]:
        return alternatives(condition, wanted, of_leaf, _both, MAX_BRANCHES, too_many)

    def of_leaf(leaf: Leaf, wanted: bool) -> list[Branch]:
        match leaf:
            case Known(fact):
                return [{_presence(fields, fact): _flag(wanted)}]
            case FactTest(fact, test) if fact in MANY_VALUED:
                return of_members(fact, test, wanted)
            case FactTest(fact, test):
                rank = fields.facts[fact].rank
                assert rank is not None
                return [{rank.number: span} for span in rank.spans(test, wanted)]

    def of_members(fact: str, test: UnaryTest, wanted: bool) -> list[Branch]:
        match test:
            case Compare(_, str(value)):
                member = fields.facts[fact].members[value]
                return [{_presence(fields, fact): _flag(True), member: _flag(wanted)}]
            case OneOf(tests):
                return branches(AnyOf(tuple(FactTest(fact, part) for part in tests)), wanted)
            case Not(tests):
                return branches(NoneOf(tuple(FactTest(fact, part) for part in tests)), wanted)
            case _:
                raise RuleTooWide(rule, "tests a fact with many values for something else than its values")

    return branches(condition, wanted)


def _both(left: Branch, right: Branch) -> Branch | None:
    """Both at once, or None where no value passes both."""
    joined = dict(left)
    for number, (low, high) in right.items():
        if number in joined:
            low, high = max(low, joined[number][0]), min(high, joined[number][1])
            if low > high:
                return None
        joined[number] = (low, high)
    return joined


def _presence(fields: Fields, fact: str) -> int:
    number = fields.facts[fact].presence
    assert number is not None
    return number


def _flag(value: bool) -> Span:
    return (1, 1) if value else (0, 0)
