"""Prints the decision on each hand-written report, and opens a ticket for it: `python -m demo.show`.

The reports are told as if they came in half an hour ago. With `--again` no ticket is opened.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from rich.console import Console

from triage.cli.shown.opened import opened_service
from triage.cli.shown.show import show_decision
from triage.records.caller import Caller
from triage.rulebook.built_in_facts import OUTCOME_TITLES
from triage.service import tickets

REPORTS = Path(__file__).parent / "reports"
AGO = timedelta(minutes=30)
DESK = Caller("demo desk", "agent")


def main() -> None:
    console = Console(width=100, highlight=False)
    outcomes: Counter[str] = Counter()
    now, stored = datetime.now(UTC).replace(microsecond=0), "--again" not in sys.argv
    with opened_service(clock=lambda: now) as service:
        for path in sorted(REPORTS.glob("*.json")):
            story = json.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
            console.print()
            console.rule(f"[bold]{story['title']}", align="left")
            console.print(story["story"], style="italic")
            report = story["report"] | {"reported_at": (now - AGO).isoformat()}
            decision = tickets.decide_once(service, report)
            show_decision(decision, service.rulebook, console)
            outcomes[decision.outcome] += 1
            if stored:
                console.print(f"\nStored as ticket {tickets.open_ticket(service, report, DESK).id}.")
    console.print()
    console.rule("[bold]In short", align="left")
    for outcome, title in OUTCOME_TITLES.items():
        console.print(f"{outcomes[outcome]:3} × {title} ({outcome})")


if __name__ == "__main__":
    main()
