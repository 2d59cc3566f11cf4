"""`python -m tests.bench`: prints the tables of every benchmark."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from tests.bench.engines import engine_times
from triage.engines import engine_note


def main() -> None:
    console = Console()
    if note := engine_note():
        console.print(note)
    console.print(engines_table())


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


if __name__ == "__main__":
    main()
