"""Who has only the README loads 200 machines out of dirty spreadsheets: dry run, mend what it names, load."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests import RULES
from tests.triage.loading.dirty_fleet import (
    COLUMNS,
    FLEET,
    STORES,
    Rows,
    machines,
    sites,
    write_book,
    write_csv,
    write_folder,
)
from triage.cli.main import run
from triage.records.report import Machine
from triage.store import open_store

Load = Callable[..., tuple[int, Any]]
MENDED: dict[tuple[str, int, int], object] = {
    ("sites", 12, 4): "America/New_York",
    ("sites", 21, 6): 19,
    ("sites", 30, 4): "America/Chicago",
    ("machines", 58, 1): "LH20-50057",
    ("machines", 71, 3): "12/19/2022",
    ("machines", 72, 3): "12/24/2022",
    ("machines", 81, 8): "$3,000.00",
    ("machines", 82, 8): "",
    ("machines", 83, 8): "3150.00 USD",
    ("machines", 91, 5): "halt-009",
    ("machines", 101, 4): "",
    ("machines", 111, 3): "7/7/2023",
}
"""What the person writes at each place that is named: file, row and column as a spreadsheet counts them."""


@pytest.fixture
def barrelwise(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Load:
    """`barrelwise load …` in an empty folder: the status, and what is printed as JSON."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BARRELWISE_DATABASE", "sqlite:///my-fleet.db")
    monkeypatch.setenv("BARRELWISE_RULEBOOK", str(RULES))

    def called(*arguments: str) -> tuple[int, Any]:
        status = run(["load", *arguments, "--json"])
        return status, json.loads(capsys.readouterr().out)

    return called


def on_record() -> dict[str, Machine]:
    store = open_store("sqlite:///my-fleet.db")
    try:
        with store.read() as work:
            return {one.serial: one for one in work.machines.all()}
    finally:
        store.close()


def mended(tables: dict[str, Rows], problems: list[dict[str, Any]]) -> None:
    """Puts right each cell that is named, and nothing else."""
    for problem in problems:
        kind = problem["file"].replace("[", " ").strip("]").split()[-1].lower().removesuffix(".csv")
        heads = [str(name).lower() for name in tables[kind][0]]
        column = heads.index(problem["message"].split(":")[0].strip()) + 1
        tables[kind][problem["line"] - 1][column - 1] = MENDED[(kind, problem["line"], column)]


@pytest.mark.parametrize("as_book", [False, True], ids=["folder", "workbook"])
def test_a_dirty_fleet_is_loaded_by_what_the_dry_run_names(barrelwise: Load, as_book: bool) -> None:
    tables = {"sites": sites(), "machines": machines()}
    write: Callable[[Path, Rows, Rows], None] = write_book if as_book else write_folder
    where = Path("my-fleet.xlsx" if as_book else "my-fleet")
    write(where, **tables)
    status, told = barrelwise(str(where), "--dry-run")
    strays = [one for one in told["problems"] if "line" not in one]
    assert [one["file"] for one in strays] == ([] if as_book else ["vendors.csv"])
    assert all("take it out of the folder" in one["message"] for one in strays)
    assert (status, told["stored"], len(told["problems"]) - len(strays)) == (2, False, len(MENDED))
    assert told["counts"]["machines"]["new"] == FLEET - 9, "a bad site row takes no machine elsewhere"

    mended(tables, [one for one in told["problems"] if "line" in one])
    write(where, **tables)
    (where / "vendors.csv").unlink(missing_ok=True) if not as_book else None
    status, told = barrelwise(str(where))
    assert (status, told["stored"], told["problems"]) == (0, True, [])
    assert {kind: count["new"] for kind, count in told["counts"].items()} == {
        "sites": STORES,
        "contractors": 1,
        "machines": FLEET,
    }
    assert barrelwise(str(where))[1]["counts"]["machines"]["same"] == FLEET

    before = on_record()
    assert {one.price and one.price.amount for one in before.values()} == {3150, 3000, None}
    short = [[row[0], f"NEW-{row[6]}"] for row in tables["machines"]]
    short[0] = [COLUMNS[0], COLUMNS[6]]
    Path("later").mkdir()
    write_csv(Path("later/MACHINES.CSV"), short)
    assert barrelwise("later")[1]["counts"] == {
        "machines": {"new": 0, "changed": FLEET, "same": 0, "rejected": 0}
    }
    after = on_record()
    assert {one.asset_tag for one in after.values()} == {row[1] for row in short[1:]}
    kept = ("price", "facts", "site", "contractor", "shipped_on", "commissioned_on")
    assert [[getattr(one, name) for name in kept] for one in after.values()] == [
        [getattr(one, name) for name in kept] for one in before.values()
    ]
