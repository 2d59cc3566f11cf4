"""A fleet of 200 machines as an office keeps it in spreadsheets, with what goes wrong there."""

from __future__ import annotations

import codecs
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from pathlib import Path

from openpyxl import Workbook

STORES, FLEET = 40, 200
ZONES = ("America/New_York", "America/Chicago")
Rows = list[list[object]]
SITE_COLUMNS = ["ID", "Name", "Town", "TimeZone", "Phone", "Distance_km"]
COLUMNS = ["Serial", "Model", "Shipped_on", "Commissioned_on", "Site", "Contractor", "Asset_tag", "Price"]


def sites() -> Rows:
    """By row of the file, the heading the first; 12 and 30 name a zone that has no summer time."""
    rows: Rows = [list(SITE_COLUMNS)]
    for number in range(1, STORES + 1):
        zone = ZONES[number % 2]
        rows.append(
            [f"halt-{number:03}", f"Lanternway Halt {number}", "Alder", zone, f"555-01{number:02}", number]
        )
    rows[11][3], rows[29][3] = "EST", "Central"
    rows[20][5] = "12 miles"
    return rows


def machines() -> Rows:
    """US dates and prices throughout, which are read; and cells that cannot be meant."""
    rows: Rows = [[*COLUMNS, "fact.dedicated_circuit"]]
    for number in range(1, FLEET + 1):
        shipped = date(2022, 1, 3) + timedelta(days=5 * number)
        ready = shipped + timedelta(days=20)
        rows.append(
            [
                f"LH20-{50000 + number}",
                "LH-20" if number % 3 else "LH-30",
                us(shipped),
                us(ready) if number % 2 else ready.isoformat(),
                f"halt-{number % STORES + 1:03}",
                "fogline",
                f"LW-{number:04}",
                "$3,150.00" if number % 2 else "3150.00 USD",
                "yes" if number % 4 else "true",
            ]
        )
    rows[57][0] = "lh20-50003"  # the machine of row 4 once more
    rows[70][2] = "2/30/2024"
    rows[71][2] = "13/13/2024"
    rows[80][7] = "about 3000"
    rows[81][7] = "-5"
    rows[82][7] = "€3.150,00"
    rows[90][4] = "halt-099"
    rows[100][3] = "1/1/2019"  # before it was shipped
    rows[110][2] = "3/1/2062"
    return rows


def us(day: date) -> str:
    return f"{day.month}/{day.day}/{day.year}"


CONTRACTORS: Rows = [["id", "name", "phone"], ["fogline", "Fogline Refrigeration", "555-0162"]]


def write_csv(path: Path, rows: Iterable[Sequence[object]]) -> None:
    """As a spreadsheet saves it where commas are for decimals: semicolons, and a byte order mark."""
    lines = "".join(";".join("" if one is None else str(one) for one in row) + "\r\n" for row in rows)
    path.write_bytes(codecs.BOM_UTF8 + lines.encode())


def write_folder(folder: Path, sites: Rows, machines: Rows) -> None:
    """Names in capitals, and files that are none of the program's."""
    folder.mkdir(exist_ok=True)
    for name, rows in (("SITES.CSV", sites), ("Machines.csv", machines), ("Contractors.CSV", CONTRACTORS)):
        write_csv(folder / name, rows)
    (folder / "vendors.csv").write_text("vendor;terms\r\nInkwell;30 days\r\n")
    (folder / "~$Machines.xlsx").write_bytes(b"lock")


def write_book(path: Path, sites: Rows, machines: Rows) -> None:
    book = Workbook()
    del book["Sheet"]
    for name, rows in (("Sites", sites), ("MACHINES", machines), ("contractors", CONTRACTORS)):
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.create_sheet("Notes").append(["ask Dana"])
    book.save(path)
