"""Opens a ticket for each hand-written report and prints its decision, as of a fixed day."""

from __future__ import annotations

import json
from collections import Counter
from datetime import UTC, datetime, time
from decimal import Decimal
from pathlib import Path

from rich.console import Console

from demo.make_data import AS_OF
from triage.cli.shown.opened import opened_service
from triage.cli.shown.show import show_decision
from triage.records.caller import Caller
from triage.rulebook.fixed_words import OUTCOME_TITLES
from triage.service import tickets

REPORTS = Path(__file__).parent / "reports"
CLOCK = datetime.combine(AS_OF, time(20), UTC)
DESK = Caller("demo desk", "agent")


def main() -> None:
    console = Console(width=100, highlight=False)
    outcomes: Counter[str] = Counter()
    with opened_service(clock=lambda: CLOCK) as service:
        for path in sorted(REPORTS.glob("*.json")):
            story = json.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
            console.print()
            console.rule(f"[bold]{story['title']}", align="left")
            console.print(story["story"], style="italic")
            show_decision(tickets.decide_once(service, story["report"]), service.rulebook, console)
            ticket = tickets.open_ticket(service, story["report"], DESK)
            console.print(f"\nStored as ticket {ticket.id}.")
            outcomes[ticket.outcome or ""] += 1
    console.print()
    console.rule("[bold]In short", align="left")
    for outcome, title in OUTCOME_TITLES.items():
        console.print(f"{outcomes[outcome]:3} × {title} ({outcome})")


if __name__ == "__main__":
    main()
