"""A what-if for people to read: before and after side by side, what changed, and what would change it."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from triage.cli.shown.output import console
from triage.service.what_if import WhatIf
from triage.values.shown import percent, shown
from triage.what_if.diff import DecisionChange, outcome_said
from triage.what_if.turning_points import turning_words

CAUSES_SHOWN = 5
FACTORS_SHOWN = 3
Data = Mapping[str, Any]


def show_what_if(found: WhatIf, out: Console | None = None) -> None:
    """Prints it on standard output."""
    out = out or console()
    table = Table("", "before", "after", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for title, lines in _rows(found.before, found.after):
        same = lines[0] == lines[1]
        table.add_row(Text(title, style="dim"), lines[0], Text(lines[1], style="" if same else "bold"))
    out.print(table)
    if not found.changed:
        out.print("\nNothing changes.")
    for part, changed in groupby(found.changed, key=lambda each: each.part):
        out.print(Text(f"\n{part.replace('_', ' ').capitalize()}", style="bold"))
        _print_changes(out, list(changed))
    if found.turning is not None:
        _print_turning(out, found.turning)
    out.print(
        Text("\nNothing was stored. Before is ", style="dim").append(
            "what the ticket says." if found.as_recorded else "NOT what the ticket's log says."
        )
    )


def _print_changes(out: Console, changed: Sequence[DecisionChange]) -> None:
    most = CAUSES_SHOWN if changed[0].part == "causes" else len(changed)
    for each in changed[:most]:
        out.print(Text(f"• {each.words}"))
        for factor in each.factors[:FACTORS_SHOWN]:
            out.print(Padding(Text(factor.words, style="dim"), (0, 0, 0, 3)))
    if len(changed) > most:
        out.print(Text(f"and {len(changed) - most} more", style="dim"))


def _rows(before: Data, after: Data) -> Iterator[tuple[str, tuple[str, str]]]:
    def both(line: Any) -> tuple[str, str]:
        return line(before), line(after)

    yield "outcome", both(outcome_said)
    yield "likeliest", both(_causes)
    yield "first steps", both(_plan)
    yield "rest of call", both(lambda side: f"{side['expected_cost']['plan']} {side['currency']}")
    yield "left of limit", both(lambda side: f"{side['limit']['headroom']} {side['currency']}")
    yield "visit", both(_visit)
    yield "stops use", both(lambda side: shown(any(each["stop_use"] for each in side["cautions"])))
    yield "rulebook", both(lambda side: str(side["rulebook"])[:15])


def _causes(side: Data) -> str:
    return "\n".join(
        f"{percent(cause['chance'], fine=True)} {cause['title']}" for cause in side["causes"][:3]
    )


def _plan(side: Data) -> str:
    steps = (f"{number}. {step['title']}" for number, step in enumerate(side["plan"][:3], 1))
    return "\n".join(steps) or "none"


def _visit(side: Data) -> str:
    visit = side["visit"]
    return "none" if visit is None else f"priority {visit['priority']}, due {visit['due'][:16]}"


def _print_turning(out: Console, turning: Data) -> None:
    out.print(Text("\nWhat would change it", style="bold"))
    for line in turning_words(turning):
        out.print(Text(f"• {line}"))
    if not turning["facts"] and not turning["numbers"]:
        out.print("No single fact and no evidence number that was tried.")
    if turning["left_out"]:
        out.print(Text(f"Cut short: {len(turning['left_out'])} were not tried.", style="dim"))
