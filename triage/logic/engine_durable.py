"""The durable_rules engine, kept inside the limits within which it was measured to be exact.

Outside them it hangs, kills the process or answers wrongly. Hence: small integers only, never a caller's
text; at most 50 rules a ruleset, one of which always fires; at most 60 fields a message; one fact with an
`id` for each question, under a session id that is used once and deleted after success; one question at a
time on a handle; rulesets deleted when the engine is dropped; and any error code raises.
"""

import itertools
import json
import weakref
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from operator import itemgetter
from threading import Lock
from typing import Any, TypeAlias

import durable_rules_engine as rules_c

from triage.logic.conditions import Condition, Facts, Truth
from triage.logic.engine import EngineFailure, RuleTooWide
from triage.logic.engine_fields import Branch, Fields, branches_of, fields_for

MAX_RULES = 50  # in a ruleset, the one that always fires included
MAX_FIELDS = 60  # in a message, `id`, `sid` and the always-true field included
MAX_TESTS_OF_FIELD = 50  # in a ruleset; 70 true at once were seen to fail

_OWN_FIELDS = 3

Verdicts: TypeAlias = tuple[tuple[str, bool], ...]
"""What follows when a branch holds: rule id and the truth of its condition."""

_ruleset_numbers = itertools.count(1)


@dataclass(slots=True)
class _Draft:
    """A ruleset while it is filled."""

    branches: list[tuple[Branch, Verdicts]] = field(default_factory=list)
    fields: dict[int, int] = field(default_factory=dict)  # field -> tests on it

    def has_room_for(self, branch: Branch) -> bool:
        return (
            len(self.branches) + 1 < MAX_RULES
            and len(self.fields.keys() | branch.keys()) + _OWN_FIELDS <= MAX_FIELDS
            and all(self.fields.get(number, 0) + 2 <= MAX_TESTS_OF_FIELD for number in branch)
        )

    def add(self, branch: Branch, verdicts: Verdicts) -> None:
        self.branches.append((branch, verdicts))
        for number, (low, high) in branch.items():
            self.fields[number] = self.fields.get(number, 0) + (1 if low == high else 2)


class _Ruleset:
    """One handle of the C module. Questions to it wait for each other."""

    __slots__ = ("_count", "_handle", "_lock", "_pick", "_sids", "_verdicts")

    def __init__(self, draft: _Draft, handles: list[int]) -> None:
        numbers = sorted(draft.fields)
        self._pick: Callable[[list[str]], Iterable[str]] = (
            itemgetter(*numbers) if len(numbers) > 1 else lambda pieces: [pieces[numbers[0]]]
        )
        self._verdicts: dict[str, Verdicts] = {"always": ()}
        definition: dict[str, Any] = {"always": {"all": [{"m": {"a": 1}}]}}
        for index, (branch, verdicts) in enumerate(draft.branches):
            definition[f"r{index}"] = {"all": [{"m": _test(branch)}]}
            self._verdicts[f"r{index}"] = verdicts
        self._lock = Lock()
        self._sids = itertools.count(1)
        self._handle: int = rules_c.create_ruleset(f"b{next(_ruleset_numbers)}", json.dumps(definition))
        handles.append(self._handle)

    def ask(self, pieces: list[str], truths: dict[str, Truth]) -> None:
        """Enters the truths that follow from the fields into `truths`."""
        try:
            with self._lock:
                self._ask(pieces, truths)
        except EngineFailure:
            raise
        except Exception as error:
            raise EngineFailure(f"the durable engine failed: {error}") from error

    def _ask(self, pieces: list[str], truths: dict[str, Truth]) -> None:
        sid = str(next(self._sids))
        code, state = rules_c.assert_fact(
            self._handle, f'{{"id":1,"sid":"{sid}","a":1{"".join(self._pick(pieces))}}}'
        )
        if code != 0:
            raise EngineFailure(f"the durable engine refused the facts, code {code}")
        started = rules_c.start_action_for_state(self._handle, state)
        if not started:
            raise EngineFailure("the durable engine fired nothing, not even the rule that always fires")
        action = started[1]
        always = False
        for _ in range(len(self._verdicts)):
            fired = action[2 : action.index('"', 2)]
            always = always or fired == "always"
            for rule, truth in self._verdicts[fired]:
                truths[rule] = truth
            action = rules_c.complete_and_start_action(self._handle, state)
            if not action:
                break
        else:
            raise EngineFailure("the durable engine fired a rule twice")
        if not always:
            raise EngineFailure("the durable engine did not fire the rule that always fires")
        rules_c.delete_state(self._handle, sid)


@dataclass(frozen=True, slots=True)
class _Stage:
    fields: Fields
    before: Mapping[str, Truth]  # every rule, with the truth of those that depend on nothing
    common: tuple[_Ruleset, ...]
    with_fact: tuple[tuple[str, tuple[_Ruleset, ...]], ...]  # fact that must be known, rulesets
    with_member: Mapping[str, Mapping[str, tuple[_Ruleset, ...]]]  # fact -> value it must have -> rulesets

    def truths(self, facts: Facts) -> dict[str, Truth]:
        truths = dict(self.before)
        pieces = self.fields.encode(facts)
        for ruleset in self.common:
            ruleset.ask(pieces, truths)
        for fact, rulesets in self.with_fact:
            if facts.get(fact) is not None:
                for ruleset in rulesets:
                    ruleset.ask(pieces, truths)
        for fact, by_member in self.with_member.items():
            value = facts.get(fact)
            if value is None:
                continue
            present = value if isinstance(value, frozenset) else (value,)
            for member, rulesets in by_member.items():
                if member in present:
                    for ruleset in rulesets:
                        ruleset.ask(pieces, truths)
        return truths


class DurableEngine:
    """An `Engine` whose rules are fired by durable_rules."""

    name = "durable"

    def __init__(self, stages: Mapping[str, Mapping[str, Condition]], only_fires: Collection[str]) -> None:
        handles: list[int] = []
        self._finalizer = weakref.finalize(self, _delete_rulesets, handles)
        # At exit a daemon thread may still be asking, and the process gives the memory back anyway.
        self._finalizer.atexit = False
        self._stages = {
            stage: _compile_stage(conditions, stage in only_fires, handles)
            for stage, conditions in stages.items()
        }

    def truths(self, stage: str, facts: Facts) -> Mapping[str, Truth]:
        return self._stages[stage].truths(facts)


def compile_durable(
    stages: Mapping[str, Mapping[str, Condition]], only_fires: Collection[str] = ()
) -> DurableEngine:
    """Compiles stage -> rule id -> condition. Raises RuleTooWide where the limits cannot be kept."""
    return DurableEngine(stages, only_fires)


def _delete_rulesets(handles: list[int]) -> None:
    for handle in handles:
        rules_c.delete_ruleset(handle)


def _compile_stage(conditions: Mapping[str, Condition], only_fires: bool, handles: list[int]) -> _Stage:
    fields = fields_for(conditions)
    members = {
        number: (of_fact.fact, member)
        for of_fact in fields.facts.values()
        for member, number in of_fact.members.items()
    }
    before: dict[str, Truth] = dict.fromkeys(conditions)
    verdicts: dict[tuple[tuple[int, tuple[int, int]], ...], list[tuple[str, bool]]] = {}
    for rule, condition in conditions.items():
        for truth in (True,) if only_fires else (True, False):
            for branch in branches_of(rule, condition, truth, fields):
                if not branch:
                    before[rule] = truth
                elif len(branch) + _OWN_FIELDS > MAX_FIELDS:
                    most = MAX_FIELDS - _OWN_FIELDS
                    raise RuleTooWide(rule, f"looks at more than {most} facts at once; split it")
                else:
                    verdicts.setdefault(tuple(sorted(branch.items())), []).append((rule, truth))
    ranked = {
        of_fact.rank.number: of_fact.fact for of_fact in fields.facts.values() if of_fact.rank is not None
    }
    common: list[_Draft] = []
    with_fact: dict[str, list[_Draft]] = {}
    with_member: dict[str, dict[str, list[_Draft]]] = {}
    for items, followers in verdicts.items():
        member = next(
            (members[number] for number, span in items if number in members and span == (1, 1)), None
        )
        fact = next((ranked[number] for number, _ in items if number in ranked), None)
        if member is not None:
            drafts = with_member.setdefault(member[0], {}).setdefault(member[1], [])
        elif fact is not None:
            drafts = with_fact.setdefault(fact, [])
        else:
            drafts = common
        _place(dict(items), tuple(followers), drafts)

    def made(drafts: Iterable[_Draft]) -> tuple[_Ruleset, ...]:
        return tuple(_Ruleset(draft, handles) for draft in drafts)

    return _Stage(
        fields,
        before,
        made(common),
        tuple((fact, made(drafts)) for fact, drafts in with_fact.items()),
        {
            fact: {member: made(drafts) for member, drafts in by_member.items()}
            for fact, by_member in with_member.items()
        },
    )


def _place(branch: Branch, verdicts: Verdicts, drafts: list[_Draft]) -> None:
    if not drafts or not drafts[-1].has_room_for(branch):
        drafts.append(_Draft())
    drafts[-1].add(branch, verdicts)


def _test(branch: Branch) -> dict[str, Any]:
    tests: list[dict[str, Any]] = []
    for number, (low, high) in branch.items():
        name = f"f{number}"
        tests += [{name: low}] if low == high else [{"$gte": {name: low}}, {"$lte": {name: high}}]
    return tests[0] if len(tests) == 1 else {"$and": tests}
