"""`python -m tests.bench [engines] [decisions] [desk] [http] [replay]`: prints the tables, all or some.

`replay-large` is printed only when it is named.
"""

from __future__ import annotations

import sys

from rich.console import Console
from rich.table import Table

from tests.bench.decisions import decision_speeds, growth, shares
from tests.bench.desk import desk_times
from tests.bench.engines import engine_times
from tests.bench.http import CLIENTS, served
from tests.bench.replay import AIM, AIM_SECONDS, LARGE, ORIGINALS, ReplaySpeed, replay_speeds
from triage.logic.engine_checked import engine_note


def main() -> None:
    console = Console()
    if note := engine_note():
        console.print(note)
    for name, table in {**TABLES, **LONG}.items():
        if name in (sys.argv[1:] or TABLES):
            console.print(table())


def decisions_table() -> Table:
    table = Table(title="Whole decisions with the default rulebook, one core")
    for heading in ("", "rules", "a second of CPU"):
        table.add_column(heading, justify="right" if heading else "left")
    for speed in decision_speeds():
        table.add_row(speed.what, str(speed.rules), f"{speed.per_second:,.0f}")
    table.add_section()
    for speed in growth():
        table.add_row(f"{speed.what}, rules of evidence:", str(speed.rules), f"{speed.per_second:,.0f}")
    table.add_section()
    for step, share in shares().items():
        table.add_row(f"share of {step}", "", f"{share:.0%}")
    return table


def desk_table() -> Table:
    table = Table(title="The agents' desk with 20,000 machines and 100,000 tickets on SQLite, one process")
    for heading in ("", "times", "median ms", "p95 ms", "kB compressed"):
        table.add_column(heading, justify="right" if heading else "left")
    for page in desk_times():
        numbers = (page.median_ms, page.p95_ms, page.kb_compressed)
        table.add_row(page.what, str(page.times), *(f"{number:,.1f}" for number in numbers))
    return table


def http_table() -> Table:
    found = served()
    table = Table(title=f"Stored decisions over HTTP on SQLite, {CLIENTS} clients")
    for heading in ("workers", "a second", "median ms", "p99 ms", "server CPU ms", "sent", "found"):
        table.add_column(heading, justify="right")
    times = (found.per_second, found.median_ms, found.p99_ms)
    cpu = "" if found.cpu_ms is None else f"{found.cpu_ms:,.1f}"
    table.add_row(
        str(found.workers), *(f"{number:,.1f}" for number in times), cpu, str(found.sent), str(found.found)
    )
    return table


def engines_table() -> Table:
    table = Table(title="All rules for one report, one core")
    for heading in ("rules", "engine", "reports/s", "µs each", "wrong of 40"):
        table.add_column(heading, justify="left" if heading == "engine" else "right")
    last = None
    for time in engine_times():
        if last is not None and time.rules != last:
            table.add_section()
        last = time.rules
        table.add_row(
            str(time.rules), time.engine, f"{time.per_second:,.0f}", f"{time.us:,.0f}", str(time.wrong)
        )
    return table


def replay_table() -> Table:
    table = Table(title=f"Recorded decisions replayed; the aim is {AIM:,.0f} a second on two free cores")
    for heading in REPLAY_HEADINGS:
        table.add_column(heading, justify="right")
    for speed in replay_speeds():
        table.add_row(*_replay_row(speed))
    return table


def replay_large_table() -> Table:
    title = f"{LARGE:,} recorded decisions replayed; the aim is {AIM_SECONDS} s on two free cores"
    table = Table(title=title, caption=f"{ORIGINALS:,} different reports, the others are copies of these")
    for heading in REPLAY_HEADINGS:
        table.add_column(heading, justify="right")
    for speed in replay_speeds(LARGE, jobs_tried=(2,)):
        table.add_row(*_replay_row(speed))
    return table


REPLAY_HEADINGS = (
    "processes", "decisions", "seconds", "a second", "a second of CPU", "changed", "scored", "most MB",
)  # fmt: skip


def _replay_row(speed: ReplaySpeed) -> tuple[str, ...]:
    numbers = (speed.seconds, speed.per_second, speed.per_cpu_second, speed.changed, speed.scored)
    return (
        str(speed.jobs),
        f"{speed.decisions:,}",
        *(f"{number:,.0f}" for number in (*numbers, speed.most_mb)),
    )


TABLES = {
    "engines": engines_table,
    "decisions": decisions_table,
    "desk": desk_table,
    "http": http_table,
    "replay": replay_table,
}
LONG = {"replay-large": replay_large_table}
"""Tables that take minutes and gigabytes: only when named."""

if __name__ == "__main__":
    main()
