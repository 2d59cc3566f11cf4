"""A decision for people to read: what to do first, why, and what it rests on."""

from collections.abc import Iterable, Sequence
from datetime import date
from itertools import accumulate

from rich.console import Console, Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from triage.cli.shown.output import console
from triage.logic.conditions import FactValue
from triage.records.decision import (
    CauseChance,
    CautionSaid,
    Decision,
    PlanStep,
    Question,
    Reason,
    WarrantySide,
    in_groups,
)
from triage.rulebook.built_in_facts import LOCAL_CODES, every_fact, title_of
from triage.rulebook.fact_values import write_value
from triage.rulebook.model import Outcome, Rulebook
from triage.values.money import Money
from triage.values.shown import percent

COLORS: dict[Outcome, str] = {
    "fix_in_store": "green",
    "dispatch": "yellow",
    "approve": "green",
    "hold": "red",
    "swap": "magenta",
}
CAUSES_SHOWN = 5
FACTORS_SHOWN = 4
STEPS_SHOWN = 3
QUESTIONS_SHOWN = 3
INDENT = (0, 0, 0, 3)


def show_decision(decision: Decision, rulebook: Rulebook, out: Console | None = None) -> None:
    """Prints the decision on standard output."""
    out = out or console()
    by = "contractor" if decision.visit is None else decision.visit.by
    title, color = title_of(decision.outcome, by), COLORS[decision.outcome]
    if decision.approved_up_to is not None:
        title += f" up to {_money(decision.approved_up_to)}"
    if decision.solved:
        title += " (a check fixed it)"
    body = Group(*[Text(f"• {reason.text}") for reason in decision.reasons])
    out.print(Panel(body, title=f"[bold]{escape(title)}[/]", title_align="left", border_style=color))
    out.print(Text(LOCAL_CODES, style="dim"))
    shown = (step for group in _shown_groups(decision.plan) for step in group)
    beside_steps = {caution for step in shown for caution in step.cautions}
    for caution in decision.cautions:
        if caution.stop_use or caution.rule not in beside_steps:
            out.print(_caution(caution))
    for heading, part in (
        ("Likely causes", _causes(decision.causes)),
        ("What to do in the store", _plan(decision, rulebook)),
        ("Ask next", _questions(decision.questions)),
        ("Money", _money_lines(decision)),
        ("Visit", _visit(decision)),
        ("Keep or swap", _keep_or_swap(decision)),
        ("Other rules that applied", _overruled(decision.overruled)),
        ("Good to know", [Text(f"• {note}") for note in decision.notes]),
    ):
        lines = list(part)
        if lines:
            out.print(Text(f"\n{heading}", style="bold"))
            for line in lines:
                out.print(line)


def show_derivation(decision: Decision, rulebook: Rulebook, out: Console | None = None) -> None:
    """Prints where each number comes from: every fact and its source, every factor of every chance."""
    out = out or console()
    out.print(Text("\nFacts", style="bold"))
    facts = Table("fact", "value", "from", box=None, pad_edge=False)
    for fact_id, known in sorted(decision.facts.items()):
        source = known.source if known.rule is None else f"{known.source} by {known.rule}"
        facts.add_row(_title(rulebook, fact_id), _value(known.value), source)
    out.print(facts)
    if decision.computed_facts:
        out.print(Text("\nComputed facts the policy saw", style="bold"))
        numbers = Table("number", "value", box=None, pad_edge=False)
        for fact_id, value in sorted(decision.computed_facts.items()):
            numbers.add_row(_title(rulebook, fact_id), _value(value))
        out.print(numbers)
    out.print(
        Text("\nChances: base share × factor of each observation, then all brought to 100 %", style="bold")
    )
    for cause in decision.causes:
        out.print(Text(f"{cause.title}: {_percent(cause.chance)}", style="underline"))
        factors = Table("factor", "P(seen | cause)", "observation", "rule", box=None, pad_edge=False)
        factors.add_row(f"{cause.share:.4f}", "", "base share", "")
        for factor in cause.factors:
            # A group none of whose bands holds says so itself; only a single rule is negated.
            negated = not factor.held and factor.rule in rulebook.evidence
            seen = f"not: {factor.text}" if negated else factor.text
            factors.add_row(f"× {factor.factor:.4f}", f"{factor.probability:.4f}", seen, factor.rule)
        out.print(factors)
    out.print(Text("\nRules that fired", style="bold"))
    out.print(Text(", ".join(decision.fired) or "none"))
    out.print(Text(f"\nEngine {decision.engine}, decided at {decision.decided_at.isoformat()}"))


def _caution(caution: CautionSaid) -> RenderableType:
    opening = "STOP USING THE MACHINE. " if caution.stop_use else "Take care. "
    line = Text.assemble((opening, "bold red"), caution.text)
    others = "; ".join(caution.defers_to)
    return line.append(f" ({others})", style="dim") if others else line


def _causes(causes: Iterable[CauseChance]) -> Iterable[RenderableType]:
    shown = list(causes)
    if not shown:
        return
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(justify="right")
    table.add_column()
    table.add_column(style="dim", overflow="fold")
    for cause in shown[:CAUSES_SHOWN]:
        strongest = sorted(cause.factors, key=lambda factor: -abs(factor.factor - 1))[:FACTORS_SHOWN]
        why = [f"base {_percent(cause.share)}"]
        why += [f"× {factor.factor:.2f} {'' if factor.held else 'not '}{factor.rule}" for factor in strongest]
        table.add_row(_percent(cause.chance), cause.title, "  ".join(why))
    yield table
    rest = shown[CAUSES_SHOWN:]
    if rest:
        yield Text(f"{_percent(sum(c.chance for c in rest))} in {len(rest)} others", style="dim")


def _plan(decision: Decision, rulebook: Rulebook) -> Iterable[RenderableType]:
    said: dict[str, int] = {}  # caution -> the step where it stands in full
    groups = _shown_groups(decision.plan)
    steps = [(step, together) for together in groups for step in together]
    for number, (step, together) in enumerate(steps, start=1):
        wait = max(one.wait_minutes for one in together)
        after = f", result after {wait} min" if wait else ""
        last = f"{after}; fixes {_percent(sum(one.chance for one in together))} of calls that get this far"
        yield Text.assemble(
            (f"{number}. {step.title}", "bold"),
            f"  {step.minutes} min{last if step is together[-1] else ', then at once the next'}",
        )
        for caution_id in step.cautions:
            caution = rulebook.cautions.get(caution_id)
            text = caution_id if caution is None else caution.text
            if caution_id in said:
                text = (
                    f"{caution_id if caution is None else caution.head.title}: as in step {said[caution_id]}."
                )
            said.setdefault(caution_id, number)
            yield Padding(Text(f"! {text}", style="red"), INDENT)
        for line in step.steps:
            yield Padding(Text(f"– {line}"), INDENT)
        yield Padding(Text(f"Look for: {step.look_for}", style="dim"), INDENT)
    later = decision.plan[sum(map(len, groups)) :]
    if later:
        yield Text("Then, if it is still not fixed: " + "; ".join(step.title for step in later) + ".")


def _shown_groups(plan: Sequence[PlanStep]) -> Sequence[tuple[PlanStep, ...]]:
    """Whole groups, until at least STEPS_SHOWN steps are shown."""
    groups = in_groups(plan)
    before = accumulate(map(len, groups), initial=0)
    return [group for group, shown in zip(groups, before, strict=False) if shown < STEPS_SHOWN]


def _questions(questions: Sequence[Question]) -> Iterable[RenderableType]:
    shown = [question for question in questions if question.safety]
    shown += [question for question in questions if not question.safety][:QUESTIONS_SHOWN]
    for question in shown:
        saves = (
            f"saves {_money(question.saves)} on average" if question.saves.amount > 0 else "one of the first"
        )
        worth = "for safety" if question.safety else saves
        yield Text.assemble(f"• {question.ask} ", (f"({worth}; {question.fact})", "dim"))
    if len(questions) > len(shown):
        yield Text(f"and {len(questions) - len(shown)} more that are worth asking", style="dim")


def _money_lines(decision: Decision) -> Iterable[RenderableType]:
    cost, limit, warranty = decision.expected_cost, decision.limit, decision.warranty
    exact = "" if cost.exact else " (the order of checks is near the best, not proven best)"
    yield Text(
        f"Rest of this call: {_money(cost.plan)} on average by this plan, "
        f"{_money(cost.dispatch_now)} by sending a technician now{exact}"
    )
    yield Text(f"Warranty: {_side('parts', warranty.parts)}; {_side('labor', warranty.labor)}")
    for risk in warranty.at_risk:
        yield Text(f"Warranty at risk: {risk}", style="yellow")
    yield Text(
        f"Limit {_money(limit.nte)}, spent {_money(limit.spent)}, left {_money(limit.headroom)}; "
        f"expected repair {_money(limit.expected_repair)}, {_percent(limit.chance_over)} to run over"
    )
    if limit.authority is not None:
        reach = f", {limit.reach}" if limit.reach else ""
        yield Text(f"May approve more: {limit.authority_title or limit.authority}{reach}")


def _side(name: str, side: WarrantySide) -> str:
    until = "" if side.until is None else f" (until {_day(side.until)})"
    return f"{name} of {side.component} {'covered' if side.covered else 'not covered'}{until}"


def _visit(decision: Decision) -> Iterable[RenderableType]:
    visit = decision.visit
    if visit is not None:
        kit = f"; bring {', '.join(visit.kit)}" if visit.kit else ""
        if visit.kit_chance is not None:
            kit += f"; {_percent(visit.kit_chance)} to be fixed on the first visit by what is carried"
        who = f"{visit.skill} technician" if visit.by == "contractor" else f"the {visit.by}"
        yield Text(f"Priority {visit.priority}, due {visit.due:%a %Y-%m-%d %H:%M %Z}, {who}{kit}")


def _keep_or_swap(decision: Decision) -> Iterable[RenderableType]:
    if decision.keep_or_swap is not None:
        yield from map(Text, decision.keep_or_swap.text)


def _overruled(reasons: Iterable[Reason]) -> Iterable[RenderableType]:
    for reason in reasons:
        yield Text(f"• {title_of(reason.outcome)}: {reason.text} ({reason.rule})", style="dim")


def _title(rulebook: Rulebook, fact_id: str) -> str:
    fact = every_fact(rulebook).get(fact_id)
    return fact_id if fact is None else f"{fact.title} ({fact_id})"


def _value(value: FactValue) -> str:
    written = write_value(value)
    if isinstance(written, bool):
        return "yes" if written else "no"
    return ", ".join(map(str, written)) if isinstance(written, list) else str(written)


def _money(amount: Money) -> str:
    return f"{amount.amount:,.2f} {amount.currency.code}"


def _percent(chance: float) -> str:
    return percent(chance, fine=True).replace(" %", "%")


def _day(day: date) -> str:
    return day.isoformat()
