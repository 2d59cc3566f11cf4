"""What would change a decision, as data and in words: for each fact the nearest other value, and for each
number of the evidence that mattered how far it would have to be off.

A fact's values are tried at the bounds that the rulebook's own conditions name, and between them; a number
that only calculations look at is tried at `STEPS` places of its range and halved in on. An evidence number is
halved in on between 1 and 99 percent. Everything else stays as it is. The work is bounded by
`MOST_DECISIONS`; what is left out then is said.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, time
from decimal import Decimal
from typing import Any

from triage.decide.causes.answer_values import try_values
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import Inputs, decide_inputs
from triage.logic.conditions import Condition, FactValue, Interval
from triage.logic.engine import Engine
from triage.records.decision import Decision
from triage.rulebook.built_in_facts import title_of
from triage.rulebook.fact_values import write_value
from triage.rulebook.model import EvidenceRule, Fact, Rulebook
from triage.values.errors import InputError
from triage.values.shown import shown

MOST_DECISIONS = 1500
STEPS = 8
HALVINGS = 7
CAUSES = 2
"""The likeliest causes whose evidence numbers are looked at."""

MOST_RULES = 12
FIRST_CHANCE, LAST_CHANCE = 0.01, 0.99


@dataclass(slots=True)
class _Work:
    """Decides again and again, as often as is allowed."""

    engine: Engine
    left: int
    skipped: list[str] = field(default_factory=list)

    def outcome(self, rulebook: Rulebook, inputs: Inputs) -> str | None:
        """The outcome; None where the inputs cannot be decided."""
        self.left -= 1
        try:
            decision = decide_inputs(rulebook, self.engine, inputs, ask=False)
        except InputError:
            return None
        return "solved" if decision.solved else decision.outcome


def turning_points(
    rulebook: Rulebook, inputs: Inputs, decision: Decision, most: int = MOST_DECISIONS
) -> Mapping[str, Any]:
    """JSON data: {facts: [...], numbers: [...], tried, left_out: [titles]}.

    A fact's entry: {fact, title, unit, now, changes: [{value, outcome}, ...]}, nearest value first, one for
    each other outcome on each side; `now` and a value may be null for not known. A number's entry: {rule,
    title, cause, cause_title, now, turns_at, outcome}. What changes nothing is left out.
    """
    work = _Work(compile_rulebook(rulebook, "plain"), most)
    now = "solved" if decision.solved else decision.outcome
    numbers = [] if decision.solved else list(_numbers(rulebook, inputs, decision, now, work))
    others = (condition for _, _, condition in rulebook.terms_conditions())
    conditions = (*rulebook.live_rules().values(), *others)
    facts = []
    for fact in _in_order(rulebook, decision):
        known = decision.facts.get(fact.id)
        if work.left < len(fact.choices) + STEPS + HALVINGS:
            work.skipped.append(fact.title)
            continue
        value = None if known is None else known.value
        changes = _fact_changes(rulebook, inputs, fact, value, now, conditions, work)
        if changes:
            facts.append(
                {
                    "fact": fact.id,
                    "title": fact.title,
                    "unit": fact.unit,
                    "now": None if value is None else write_value(value),
                    "changes": changes,
                }
            )
    return {"facts": facts, "numbers": numbers, "tried": most - work.left, "left_out": work.skipped}


def with_fact(inputs: Inputs, fact: str, value: FactValue | None) -> Inputs:
    """The inputs with one fact of this value; None: not known."""
    report = inputs.report
    forgotten = tuple(each for each in report.forgotten if each != fact)
    if value is None:
        return replace(inputs, report=replace(report, forgotten=(*forgotten, fact)))
    assert not isinstance(value, frozenset)
    answers = {**report.answers, fact: value}
    return replace(inputs, report=replace(report, answers=answers, forgotten=forgotten))


def _in_order(rulebook: Rulebook, decision: Decision) -> Iterator[Fact]:
    """What the caller said, what is worth asking, what the record says, and the rest."""
    asked = [question.fact for question in decision.questions]

    def place(fact: Fact) -> tuple[int, int, str]:
        known = decision.facts.get(fact.id)
        if known is not None and known.source == "caller":
            return 0, 0, fact.id
        if fact.id in asked:
            return 1, asked.index(fact.id), fact.id
        return (3 if known is None else 2), 0, fact.id

    open_to_change = [
        fact
        for fact in rulebook.facts.values()
        if fact.asked_of != "computed"
        and (fact.id not in decision.facts or decision.facts[fact.id].source in ("caller", "record"))
    ]
    return iter(sorted(open_to_change, key=place))


def _fact_changes(
    rulebook: Rulebook,
    inputs: Inputs,
    fact: Fact,
    now: FactValue | None,
    outcome: str,
    conditions: Sequence[Condition],
    work: _Work,
) -> list[dict[str, Any]]:
    def decide(value: FactValue | None) -> str | None:
        return work.outcome(rulebook, with_fact(inputs, fact.id, value))

    values = list(try_values(fact, conditions))
    if fact.type == "number":
        values = sorted({*values, *_steps(fact)})
    tried = [(value, decide(value)) for value in values if value != now]
    moving = [(value, found) for value, found in tried if found not in (outcome, None)]
    if not moving and (now is None or decide(None) in (outcome, None)):
        return []
    changes = [_as_change(value, found) for value, found in _nearest(fact, now, moving, outcome, decide)]
    if now is not None:
        unknown = decide(None)
        if unknown not in (outcome, None):
            changes.append(_as_change(None, unknown))
    return changes


def _as_change(value: FactValue | None, outcome: str | None) -> dict[str, Any]:
    return {"value": None if value is None else write_value(value), "outcome": outcome}


def _steps(fact: Fact) -> Iterator[Decimal]:
    """Places all over the range of a number, for what only calculations look at."""
    if isinstance(fact.range, Interval):
        low, high = fact.range.low, fact.range.high
        if isinstance(low, Decimal) and isinstance(high, Decimal):
            yield from (low + (high - low) * step / STEPS for step in range(STEPS + 1))


def _nearest(
    fact: Fact,
    now: FactValue | None,
    moving: Sequence[tuple[FactValue, str | None]],
    outcome: str,
    decide: Callable[[FactValue], str | None],
) -> Iterator[tuple[FactValue, str | None]]:
    """The first value on each side of `now` that gives each other outcome; without an order, all of them."""
    if fact.type not in ("number", "date", "time") or now is None:
        yield from moving if fact.type in ("choice", "flag", "text") else _one_each(moving)
        return
    below = [each for each in reversed(moving) if _before(each[0], now)]
    above = [each for each in moving if _before(now, each[0])]
    for side in (below, above):
        for value, found in _one_each(side):
            yield _closer(now, value, decide), found


def _one_each(moving: Iterable[tuple[FactValue, str | None]]) -> Iterator[tuple[FactValue, str | None]]:
    seen: set[str | None] = set()
    for value, found in moving:
        if found not in seen:
            seen.add(found)
            yield value, found


def _closer(now: FactValue, value: FactValue, decide: Callable[[FactValue], str | None]) -> FactValue:
    """A value nearer to `now` with the same outcome as `value`, in whole numbers where both are whole."""
    if not isinstance(now, Decimal) or not isinstance(value, Decimal):
        return value
    wanted = decide(value)
    same, other = now, value
    for _ in range(HALVINGS):
        middle = (same + other) / 2
        far = abs(other - same) > 2
        middle = middle.to_integral_value() if far else middle.quantize(Decimal("0.1"))
        if middle in (same, other):
            break
        if decide(middle) == wanted:
            other = middle
        else:
            same = middle
    return other


def _before(one: FactValue, other: FactValue) -> bool:
    match one, other:
        case (Decimal(), Decimal()) | (date(), date()) | (time(), time()):
            return one < other  # type: ignore[operator]
        case _:
            return False


def _numbers(
    rulebook: Rulebook, inputs: Inputs, decision: Decision, outcome: str, work: _Work
) -> Iterator[dict[str, Any]]:
    """The evidence of the likeliest causes, those that weighed most first."""
    for cause in decision.causes[:CAUSES]:
        weighed = sorted(cause.factors, key=lambda factor: -max(factor.factor, 1 / max(factor.factor, 1e-9)))
        rules = [rulebook.evidence[each.rule] for each in weighed if each.rule in rulebook.evidence]
        for rule in rules[:MOST_RULES]:
            if work.left < 2 * (HALVINGS + 1):
                work.skipped.append(f"{rule.head.title}: {cause.title}")
                continue

            def decide(number: float, rule: EvidenceRule = rule, name: str = cause.cause) -> str | None:
                changed = replace(rule, seen_with={**rule.seen_with, name: number})
                evidence = {**rulebook.evidence, rule.head.id: changed}
                return work.outcome(replace(rulebook, evidence=evidence), inputs)

            now = rule.chance_given(cause.cause)
            for turns_at, found in _turns(now, _most(rulebook, rule, cause.cause), outcome, decide):
                yield {
                    "rule": rule.head.id,
                    "title": rule.head.title,
                    "cause": cause.cause,
                    "cause_title": cause.title,
                    "now": now,
                    "turns_at": turns_at,
                    "outcome": found,
                }


def _most(rulebook: Rulebook, rule: EvidenceRule, cause: str) -> float:
    """The bands of a group are parts of one whole."""
    others = sum(
        each.chance_given(cause)
        for each in rulebook.evidence.values()
        if each.group is not None
        and each.group == rule.group
        and each.head.id != rule.head.id
        and each.head.status == "live"
    )
    return min(LAST_CHANCE, 1 - others)


def _turns(
    now: float, most: float, outcome: str, decide: Callable[[float], str | None]
) -> Iterator[tuple[float, str]]:
    for end in (FIRST_CHANCE, most):
        found = decide(end) if end != now else outcome
        if found is None or found == outcome:
            continue
        same, other = now, end
        for _ in range(HALVINGS):
            middle = round((same + other) / 2, 3)
            if middle in (same, other):
                break
            there = decide(middle)
            if there not in (outcome, None):
                other, found = middle, there
            else:
                same = middle
        yield other, str(found)


Data = Mapping[str, Any]


def turning_words(turning: Data) -> Iterator[str]:
    """One sentence for each turning point."""
    for fact in turning["facts"]:
        unit = f" {fact['unit']}" if fact["unit"] else ""
        now = shown(fact["now"]) + (unit if fact["now"] is not None else "")
        ends = "; ".join(
            f"{shown(end['value'])}{unit if end['value'] is not None else ''}: {title_of(end['outcome'])}"
            for end in fact["changes"]
        )
        yield f"{fact['title']} (now {now}): {ends}"
    for number in turning["numbers"]:
        yield (
            f"“{number['title']}” seen with {number['cause_title']} (now {float(number['now']):.2f}): "
            f"{float(number['turns_at']):.2f}: {title_of(number['outcome'])}"
        )
