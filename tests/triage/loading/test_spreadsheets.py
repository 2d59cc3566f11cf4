"""A fleet as it comes out of spreadsheets: what can be meant is read, the rest is named with its place."""

from __future__ import annotations

import codecs
import shutil
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from moneyed import Money
from openpyxl import Workbook, load_workbook

from tests.triage.loading.test_load import (
    CONTRACTORS,
    DEPOT,
    MACHINES,
    SITES,
    change,
    counted,
    folder,
    problems,
    rulebook,
    store,
)
from triage.loading.columns import COLUMNS
from triage.loading.load import Counts, load
from triage.loading.template import write_template
from triage.loading.workbook import read_workbook
from triage.rulebook.model import Rulebook
from triage.store import Store
from triage.values.errors import InputError

__all__ = ["folder", "rulebook", "store"]


def machine_of(store: Store, serial: str = "LH20-1"):  # type: ignore[no-untyped-def]
    with store.read() as work:
        return work.machines.get(serial)


def test_a_missing_column_keeps_and_an_empty_cell_clears(
    folder: Path, store: Store, rulebook: Rulebook
) -> None:
    load(folder, store, rulebook)
    before = machine_of(store)
    shutil.rmtree(folder)
    folder.mkdir()
    (folder / "machines.csv").write_text("serial,asset_tag\nLH20-1,LW-7\n")
    assert counted(load(folder, store, rulebook)) == {"machines": (0, 1, 0)}
    after = machine_of(store)
    assert (after.asset_tag, after.facts, after.site, after.price) == (
        "LW-7",
        {"filter_days": Decimal(12)},
        before.site,
        before.price,
    )
    (folder / "machines.csv").write_text("serial,price,contractor,fact.filter_days\nLH20-1,,,\n")
    load(folder, store, rulebook)
    cleared = machine_of(store)
    assert (cleared.price, cleared.contractor, cleared.facts) == (None, None, {})
    assert (cleared.asset_tag, cleared.site) == ("LW-7", before.site)


def test_each_kind_of_record_keeps_what_a_row_does_not_say(
    folder: Path, store: Store, rulebook: Rulebook
) -> None:
    (folder / "depot.csv").write_text(DEPOT)
    load(folder, store, rulebook)
    shutil.rmtree(folder)
    folder.mkdir()
    (folder / "sites.csv").write_text("id,phone\nhalt-001,555-0109\n")
    (folder / "contractors.csv").write_text("id,certificate\nfogline,Universal\n")
    (folder / "depot.json").write_text('[{"serial": "LH20-D1", "amps": 15}]')
    assert counted(load(folder, store, rulebook)) == dict.fromkeys(
        ("sites", "contractors", "depot"), (0, 1, 0)
    )
    with store.read() as work:
        site, [contractor] = work.machines.site("halt-001"), work.machines.contractors()
        unit = work.depot.get("LH20-D1")
    assert (site.phone, site.town, site.distance_km) == ("555-0109", "Alder", 42)
    assert (contractor.name, contractor.certificate) == ("Fogline Refrigeration", "Universal")
    assert (unit.amps, unit.volts, unit.seal_style) == (15, 115, "grooved")
    (folder / "machines.csv").write_text("serial,asset_tag\nNEW-1,LW-7\n")
    with pytest.raises(InputError, match="model: this column is missing, and a new record needs it"):
        load(folder, store, rulebook)


SEMICOLONS = MACHINES.replace(",", ";")
SPELLED = MACHINES.replace("serial,model,shipped_on", "Serial,MODEL,Shipped On").replace(
    "fact.filter_days", "Fact.Filter_Days"
)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("machines.csv", codecs.BOM_UTF8 + MACHINES.encode()),
        ("machines.csv", MACHINES.encode("utf-16")),
        ("machines.csv", SEMICOLONS.encode()),
        ("machines.tsv", MACHINES.replace(",", "\t").encode()),
        ("machines.txt", MACHINES.replace(",", "|").encode()),
        ("MACHINES.CSV", MACHINES.replace("\n", "\r\n").encode()),
        ("Machines.csv", SPELLED.encode()),
        ("machines.csv", (MACHINES + ",,,,,,,,\n").encode()),
        ("machines.csv", MACHINES.replace("2025-01-05", "1/5/2025").replace("-02-01", "-02-01").encode()),
        ("machines.csv", MACHINES.replace("3150.00 USD", '"$3,150.00"').encode()),
        ("machines.csv", MACHINES.replace("3150.00 USD", "$3150").encode()),
    ],
)
def test_what_can_be_meant_is_read(
    folder: Path, store: Store, rulebook: Rulebook, name: str, content: bytes
) -> None:
    (folder / "machines.csv").unlink()
    (folder / name).write_bytes(content)
    load(folder, store, rulebook)
    machine = machine_of(store)
    assert (machine.shipped_on, machine.price) == (date(2025, 1, 5), Money("3150.00", "USD"))
    assert machine.facts == {"filter_days": Decimal(12)}


LATEST = date(2026, 12, 31)


@pytest.mark.parametrize(
    ("name", "old", "new", "where", "says"),
    [
        ("sites.csv", "America/New_York", "EST", "sites.csv:2:47", "write America/New_York"),
        ("sites.csv", "America/Chicago", "Central Time", "sites.csv:3:30", "write America/Chicago"),
        ("sites.csv", "America/Chicago", "MST", "sites.csv:3:30", "America/Phoenix"),
        ("sites.csv", "America/Chicago", "Etc/GMT+6", "sites.csv:3:30", "summer time"),
        ("machines.csv", "LH20-2", "lh20-1", "machines.csv:3:1", 'already on line 2 as "LH20-1"'),
        ("machines.csv", "2025-01-05,2025-02-01", "31/1/2025,", "machines.csv:2:14", "3/31/2026"),
        ("machines.csv", "2025-01-05,2025-02-01", "1/5/25,", "machines.csv:2:14", "not a date"),
        ("machines.csv", "2025-02-01", "2031-02-01", "machines.csv:2:25", "too far in the future"),
        ("machines.csv", "3150.00 USD", "31500000 USD", "machines.csv:2:61", "cannot be meant"),
        ("machines.csv", "3150.00 USD", "€3150.00", "machines.csv:2:61", "written as a text"),
        ("machines.csv", "3150.00 USD", "3.1e3", "machines.csv:2:61", "written as a text"),
    ],
)
def test_what_cannot_be_meant_is_named_with_its_fix(
    folder: Path, store: Store, rulebook: Rulebook, name: str, old: str, new: str, where: str, says: str
) -> None:
    change(folder, name, old, new)
    found = load(folder, store, rulebook, dry_run=True, latest=LATEST).problems
    assert any(says in each.message and each.where == where for each in found), found


def test_a_semicolon_file_has_places_too(folder: Path, store: Store, rulebook: Rulebook) -> None:
    (folder / "machines.csv").write_text(SEMICOLONS.replace("2025-02-01", "soon"))
    assert [each.where for each in problems(folder, store, rulebook)] == ["machines.csv:2:25"]
    (folder / "machines.csv").write_text(SEMICOLONS.replace("LH20-2;", "LH20-2;;"))
    [problem] = problems(folder, store, rulebook)
    assert "is a semicolon unquoted?" in problem.message


def test_a_serial_on_record_is_not_taken_for_another_by_its_case(
    folder: Path, store: Store, rulebook: Rulebook
) -> None:
    load(folder, store, rulebook)
    (folder / "machines.csv").write_text(MACHINES.replace("LH20-1,", "lh20-1,"))
    with pytest.raises(InputError, match='this is "LH20-1" on record; write it so'):
        load(folder, store, rulebook)


def test_a_bad_row_is_its_own_problem_and_not_that_of_what_refers_to_it(
    folder: Path, store: Store, rulebook: Rulebook
) -> None:
    change(folder, "sites.csv", "America/New_York", "EST")
    change(folder, "contractors.csv", "Fogline Refrigeration", "")
    change(folder, "machines.csv", "LH20-1,LH-20", "LH20-1,")
    found = problems(folder, store, rulebook)
    assert [each.where for each in found] == ["contractors.csv:2:9", "machines.csv:2:8", "sites.csv:2:47"]


def test_a_dry_run_counts_and_stores_nothing(folder: Path, store: Store, rulebook: Rulebook) -> None:
    dry = load(folder, store, rulebook, dry_run=True)
    assert dry.counts["machines"] == Counts(new=2) and dry.problems == ()
    with store.read() as work:
        assert (work.machines.all(), work.machines.sites()) == ((), ())
    load(folder, store, rulebook)
    change(folder, "machines.csv", "LW-0001", "LW-9999")
    change(folder, "machines.csv", "LH20-2,LH-20,2025-01-05", "LH20-2,LH-20,soon")
    (folder / "care.csv").write_text("serial,kind,at,by\nLH20-1,filter_cleaned,2026-03-05T09:00:00Z,store\n")
    dry = load(folder, store, rulebook, dry_run=True)
    assert dry.counts == {
        "sites": Counts(same=2),
        "contractors": Counts(same=1),
        "machines": Counts(changed=1, rejected=1),
        "care": Counts(new=1),
        "repairs": Counts(same=1),
    }
    assert [each.where for each in dry.problems] == ["machines.csv:3:14"]
    assert machine_of(store).asset_tag == "LW-0001"


def test_files_of_other_kinds_are_left_out_and_named(folder: Path, store: Store, rulebook: Rulebook) -> None:
    for name in ("notes.pdf", "README.txt", ".hidden", "~$machines.xlsx"):
        (folder / name).write_text("x")
    assert load(folder, store, rulebook).left_out == ("README.txt", "notes.pdf")
    (folder / "machines.csv").rename(folder / "machines.ods")
    with pytest.raises(InputError, match=r"machines\.ods: not a file of records; .* as \.csv, \.xlsx or"):
        load(folder, store, rulebook)


Sheets = dict[str, list[list[object]]]
BOOK: Sheets = {
    "Sites": [["id", "name", "town", "timezone"], ["halt-001", "Alder Quay", "Alder", "America/New_York"]],
    "machines": [
        [None, None, None, None, None, None],
        ["Serial", "Model", "Shipped on", "Site", "Price", "fact.filter_days", None],
        ["LH20-1", "LH-20", date(2025, 1, 5), "halt-001", 3150.0, 12],
        [None, None, None, None, None, None],
        ["LH20-2", "LH-20", "1/5/2025", None, "$3,150.50", None],
    ],
    "Notes": [["anything"], ["at all"]],
}


@pytest.fixture
def book(tmp_path: Path) -> Callable[[Sheets], Path]:
    def write(sheets: Sheets) -> Path:
        made = Workbook()
        made.remove(made.worksheets[0])
        for title, rows in sheets.items():
            sheet = made.create_sheet(title)
            for row in rows:
                sheet.append(row)
        path = tmp_path / "fleet.xlsx"
        made.save(path)
        return path

    return write


def test_a_workbook_has_a_sheet_for_each_kind(
    book: Callable[[Sheets], Path], store: Store, rulebook: Rulebook
) -> None:
    loaded = load(book(BOOK), store, rulebook)
    assert counted(loaded) == {"sites": (1, 0, 0), "machines": (2, 0, 0)}
    assert loaded.left_out == ("fleet.xlsx[Notes]",)
    machine, other = machine_of(store), machine_of(store, "LH20-2")
    assert (machine.shipped_on, machine.price, machine.facts) == (
        date(2025, 1, 5),
        Money("3150.00", "USD"),
        {"filter_days": Decimal(12)},
    )
    assert (other.shipped_on, other.price, other.site) == (date(2025, 1, 5), Money("3150.50", "USD"), None)


@pytest.mark.parametrize(
    ("row", "cell", "value", "says"),
    [
        (2, 2, "soon", "fleet.xlsx[machines]:3:3: shipped_on: "),
        (2, 3, "halt-01", 'fleet.xlsx[machines]:3:4: site: no site "halt-01"; did you mean "halt-001"?'),
        (4, 4, -1, "fleet.xlsx[machines]:5:5: price: an amount is not negative"),
        (2, 4, "=3000+150", "fleet.xlsx[machines]:3:5: the formula gives no value"),
        (2, 4, "#REF!", "fleet.xlsx[machines]:3:5: the formula gives #REF!"),
        (1, 3, "sight", "fleet.xlsx[machines]:3:4: sight: no such column"),
        (1, 3, "serial", 'fleet.xlsx[machines]:2:4: the column "serial" stands twice'),
        (4, 1, "LH\u202e20", "fleet.xlsx[machines]:5:2: model: "),
    ],
)
def test_a_wrong_cell_of_a_sheet_is_named_with_row_and_column(
    book: Callable[[Sheets], Path],
    store: Store,
    rulebook: Rulebook,
    row: int,
    cell: int,
    value: object,
    says: str,
) -> None:
    machines = [[*line] for line in BOOK["machines"]]
    machines[row][cell] = value
    with pytest.raises(InputError) as refused:
        load(book({**BOOK, "machines": machines}), store, rulebook)
    assert any(str(each).startswith(says) for each in refused.value.problems), refused.value.problems


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"serial,model\n", b"\xd0\xcf\x11\xe0" * 200])
def test_what_is_no_workbook_is_named(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "machines.xlsx"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"machines\.xlsx: this is not a workbook"):
        read_workbook(path)


def test_one_kind_twice_is_refused(
    book: Callable[[Sheets], Path], folder: Path, store: Store, rulebook: Rulebook
) -> None:
    shutil.copy(book(BOOK), folder / "fleet.xlsx")
    with pytest.raises(InputError, match=r"both as fleet.xlsx.Sites. and as sites.csv; keep one"):
        load(folder, store, rulebook)


@pytest.mark.parametrize("name", ["filled-in", "filled-in.xlsx"])
def test_templates_are_loaded_once_filled_in(
    tmp_path: Path, store: Store, rulebook: Rulebook, name: str
) -> None:
    made = write_template(tmp_path / name, ["filter_days"])
    with pytest.raises(InputError, match="there already"):
        write_template(tmp_path / name, [])
    assert load(tmp_path / name, store, rulebook).counts == {}  # nothing is filled in
    if name.endswith(".xlsx"):
        book = load_workbook(made[0])
        assert book.sheetnames == [*COLUMNS]
        assert "new one needs it" in book["sites"]["A1"].comment.text
        book["machines"].append(["LH20-1", "LH-20", date(2025, 1, 5), *[None] * 5, 12])
        book.save(made[0])
    else:
        with (tmp_path / name / "machines.csv").open("a") as stream:
            stream.write("LH20-1,LH-20,2025-01-05,,,,,,12\n")
    assert counted(load(tmp_path / name, store, rulebook)) == {"machines": (1, 0, 0)}
    assert machine_of(store).facts == {"filter_days": Decimal(12)}


def test_names_of_the_wrong_place_do_not_pass_as_sites(
    folder: Path, store: Store, rulebook: Rulebook
) -> None:
    (folder / "sites.csv").write_text(SITES)
    (folder / "contractors.csv").write_text(CONTRACTORS + "Fogline,Another,\n")
    [problem] = problems(folder, store, rulebook)
    assert problem.message == 'id: "Fogline" is already on line 2 as "fogline"; keep one'
