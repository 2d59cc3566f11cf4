"""Forward chaining: derived facts to a fixed point, then evidence, cautions and checks; later policy.

`derive` rules are put in strata: a rule stands above every rule that sets a fact it looks at. One pass over
the strata reaches the fixed point, and `unknown` is asked of a fact only once that fact is settled. Rules
that need each other in a circle have no strata; that is an error naming them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from triage.logic.conditions import (
    AllOf,
    AnyOf,
    Condition,
    Facts,
    FactValue,
    NoneOf,
    Truth,
    facts_in,
)
from triage.logic.engine import CompileEngine, Engine, RuleTooWide
from triage.logic.engine_checked import CheckedEngine, choose_engine
from triage.rulebook.model import DeriveRule, Rulebook, RuleHead
from triage.values.errors import Problem, RulebookError

DERIVE, EVIDENCE, CAUTIONS, CHECKS, POLICY = "derive", "evidence", "cautions", "checks", "policy"

MAX_DEPTH = 32
"""Levels of any_of, none_of and the like in one condition."""

_ONLY_FIRES = (CAUTIONS, CHECKS, POLICY)


@dataclass(frozen=True, slots=True)
class Stratum:
    """Rules that may be asked together, and the facts that are settled once they have been.

    `settles` gives for each fact the rules that may set it, in the order in which they are heard.
    """

    stage: str
    rules: tuple[str, ...]
    settles: Mapping[str, tuple[DeriveRule, ...]]


@dataclass(frozen=True, slots=True)
class CompiledRules:
    """A rulebook's live rules, compiled: an `Engine` that also knows the strata of the `derive` rules."""

    engine: Engine
    strata: tuple[Stratum, ...]

    @property
    def name(self) -> str:
        return self.engine.name

    @property
    def disagreements(self) -> int:
        """Answers in which the two engines of the checked one differed; 0 for an engine that is alone."""
        return self.engine.disagreements if isinstance(self.engine, CheckedEngine) else 0

    def truths(self, stage: str, facts: Facts) -> Mapping[str, Truth]:
        return self.engine.truths(stage, facts)


@dataclass(frozen=True)
class Inference:
    """What the rules say of the known facts.

    `facts` are the given and the derived ones; `derived_by` names the rule behind each derived one.
    `cautions` are the ids of the cautions whose condition is true, those that are only said beside a check
    included. All stand in the rulebook's own order.
    """

    facts: Mapping[str, FactValue]
    derived_by: Mapping[str, str]
    cautions: tuple[str, ...]
    _engine: Engine

    @cached_property
    def evidence(self) -> Mapping[str, Truth]:
        """The truth of every live evidence rule."""
        return self._engine.truths(EVIDENCE, self.facts)

    @cached_property
    def checks(self) -> tuple[str, ...]:
        """The ids of the checks that apply."""
        return _fired(self._engine, CHECKS, self.facts)


def compile_rulebook(rulebook: Rulebook, engine: str | CompileEngine = "checked") -> CompiledRules:
    """Compiles the live rules once, for many calls from many threads.

    `engine` is "checked", "durable", "plain", or a compiler of one's own. Raises RulebookError
    where a condition is nested too deep, derive rules need each other in a circle, or a rule is too wide for
    the engine; InputError on an unknown engine.
    """
    compile_engine = choose_engine(engine) if isinstance(engine, str) else engine
    whens = _whens(rulebook)
    _refuse_deep_nesting(rulebook, whens)
    strata = strata_of(rulebook)
    stages = {stratum.stage: {rule: whens[DERIVE][rule] for rule in stratum.rules} for stratum in strata} | {
        stage: whens[stage] for stage in (EVIDENCE, *_ONLY_FIRES)
    }
    try:
        return CompiledRules(compile_engine(stages, _ONLY_FIRES), strata)
    except RuleTooWide as error:
        raise RuleTooWide(error.rule, error.reason, _file_of(rulebook, error.rule)) from None


def infer(rulebook: Rulebook, engine: Engine, facts: Facts) -> Inference:
    """Derives what can be derived, and asks every rule but those of policy. `facts` is left as it is."""
    strata = getattr(engine, "strata", None) or strata_of(rulebook)
    known: dict[str, FactValue] = dict(facts)
    derived_by: dict[str, str] = {}
    said: dict[str, Truth] = {}
    for stratum in strata:
        said.update(engine.truths(stratum.stage, known))
        for fact, rules in stratum.settles.items():
            danger = fact in rulebook.facts and rulebook.facts[fact].danger
            if known.get(fact) is None or (danger and known[fact] is False):
                _settle(fact, rules, said, known, derived_by, danger)
    return Inference(known, derived_by, _fired(engine, CAUTIONS, known), engine)


def fired_policy(engine: Engine, facts: Facts) -> tuple[str, ...]:
    """The ids of the live policy rules whose condition is true, in the rulebook's own order."""
    return _fired(engine, POLICY, facts)


def strata_of(rulebook: Rulebook) -> tuple[Stratum, ...]:
    """The live derive rules in strata, lowest first. Raises RulebookError that names a circle of rules."""
    live = {id_: rule for id_, rule in rulebook.derive.items() if rule.head.status == "live"}
    setters: dict[str, list[DeriveRule]] = {}
    for rule in live.values():
        for fact in (*rule.sets, *(fact for fact in rule.otherwise if fact not in rule.sets)):
            setters.setdefault(fact, []).append(rule)
    needs = {
        id_: {setter.head.id for fact in facts_in(rule.head.when) for setter in setters.get(fact, ())}
        for id_, rule in live.items()
    }
    sorter = TopologicalSorter(needs)
    try:
        sorter.prepare()
    except CycleError as error:
        raise _circle(live, error.args[1]) from None
    strata: list[Stratum] = []
    asked: set[str] = set()
    while sorter.is_active():
        ready = frozenset(sorter.get_ready())
        asked |= ready
        settles = {
            fact: tuple(sorted(rules, key=lambda rule: (-rule.priority, rule.head.id)))
            for fact, rules in setters.items()
            if {rule.head.id for rule in rules} <= asked and any(rule.head.id in ready for rule in rules)
        }
        strata.append(Stratum(f"{DERIVE} {len(strata)}", tuple(id_ for id_ in live if id_ in ready), settles))
        sorter.done(*ready)
    return tuple(strata)


def _settle(
    fact: str,
    rules: tuple[DeriveRule, ...],
    said: Mapping[str, Truth],
    known: dict[str, FactValue],
    derived_by: dict[str, str],
    danger: bool,
) -> None:
    """The first rule that speaks counts; of a danger the first that says so, whatever others or answers say.

    A danger is not ruled out while another rule that may raise it is undecided.
    """
    speak: list[tuple[FactValue, str]] = []
    undecided = False
    for rule in rules:
        if rule.head.id not in said:
            continue  # it does not apply on that day
        truth = said[rule.head.id]
        if truth is None:
            undecided |= True in (rule.sets.get(fact), rule.otherwise.get(fact))
            continue
        value = (rule.sets if truth else rule.otherwise).get(fact)
        if value is not None:
            speak.append((value, rule.head.id))
    if danger:
        raised = [each for each in speak if each[0] is True]
        speak = raised or ([] if undecided else speak)
    if speak and speak[0][0] != known.get(fact):
        known[fact], derived_by[fact] = speak[0]


def _fired(engine: Engine, stage: str, facts: Facts) -> tuple[str, ...]:
    return tuple(rule for rule, truth in engine.truths(stage, facts).items() if truth is True)


def _whens(rulebook: Rulebook) -> Mapping[str, Mapping[str, Condition]]:
    """Stage -> rule id -> condition, of the live rules and of the checks."""
    return {
        DERIVE: _live(rule.head for rule in rulebook.derive.values()),
        EVIDENCE: _live(rule.head for rule in rulebook.evidence.values()),
        CAUTIONS: _live(rule.head for rule in rulebook.cautions.values()),
        CHECKS: {check.id: check.when for check in rulebook.checks.values()},
        POLICY: _live(rule.head for rule in rulebook.policy.values()),
    }


def _live(heads: Iterable[RuleHead]) -> Mapping[str, Condition]:
    return {head.id: head.when for head in heads if head.status == "live"}


def _file_of(rulebook: Rulebook, id_: str) -> str | None:
    for rules in (rulebook.derive, rulebook.evidence, rulebook.cautions, rulebook.policy):
        if id_ in rules:
            return rules[id_].head.file
    return f"checks/{id_}.yml" if id_ in rulebook.checks else None


def _refuse_deep_nesting(rulebook: Rulebook, whens: Mapping[str, Mapping[str, Condition]]) -> None:
    deep = [id_ for rules in whens.values() for id_, when in rules.items() if _deeper_than(when, MAX_DEPTH)]
    reason = f"is nested more than {MAX_DEPTH} levels deep; write it flatter"
    if deep:
        raise RulebookError([Problem(f'rule "{id_}" {reason}', file=_file_of(rulebook, id_)) for id_ in deep])


def _deeper_than(condition: Condition, levels: int) -> bool:
    # Level by level: a recursion would itself fall over what it is to refuse.
    level: list[Condition] = [condition]
    for _ in range(levels):
        level = [part for inner in level if isinstance(inner, AllOf | AnyOf | NoneOf) for part in inner.parts]
        if not level:
            return False
    return True


def _circle(live: Mapping[str, DeriveRule], path: list[str]) -> RulebookError:
    steps = []
    for setter, reader in pairwise(path):
        looked_at = facts_in(live[reader].head.when)
        shared = next(fact for fact in (*live[setter].sets, *live[setter].otherwise) if fact in looked_at)
        steps.append(f'"{setter}" sets "{shared}", which "{reader}" looks at')
    message = (
        f"derive rules need each other in a circle: {'; '.join(steps)}. "
        "Take one of these facts out of the condition of the rule that looks at it"
    )
    return RulebookError([Problem(message, file=live[path[0]].head.file)])
