"""A table of a form as a spreadsheet, CSV or XLSX, and rows read back from one or from what was pasted."""

import csv
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from io import BytesIO, StringIO

from triage.rulebook_care.forms.parts import Column, Table
from triage.values.errors import InputError, Problem
from triage.values.shown import hint
from triage.values.workbook import opened_workbook

MOST_ROWS = 5000
MOST_UNPACKED = 20_000_000
"""Bytes of an XLSX file's parts together."""


def headed(column: Column) -> str:
    """A column's head: its title and unit."""
    return f"{column.title} [{column.kind.unit}]" if column.kind.unit else column.title


def as_csv(table: Table) -> bytes:
    out = StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(map(headed, table.all_columns))
    writer.writerows(row.texts for row in table.rows)
    return out.getvalue().encode("utf-8-sig")


def as_xlsx(table: Table) -> bytes:
    """Numbers as numbers, everything else as text: what looks like a formula is none."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "".join(sign for sign in table.title if sign.isalnum() or sign in " -")[:31] or "Table"
    sheet.append([headed(column) for column in table.all_columns])
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    for number, row in enumerate(table.rows, 2):
        for index, (column, text) in enumerate(zip(table.all_columns, row.texts, strict=True), 1):
            cell = sheet.cell(number, index)
            if column.kind.type == "number" and _is_number(text):
                cell.value = float(text)
                cell.number_format = f"0.{'0' * len(text.partition('.')[2])}" if "." in text else "0"
            else:
                cell.value = text
                cell.data_type = "s"
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def read_sheet(name: str, content: bytes) -> list[list[str]]:
    """The rows of an uploaded file, by its name CSV or XLSX. Raises InputError."""
    if name.lower().endswith(".xlsx"):
        return _read_xlsx(content)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("the file is neither XLSX nor CSV in UTF-8; save it as one of the two") from None
    try:
        dialect: type[csv.Dialect] | csv.Dialect = csv.Sniffer().sniff(text.partition("\n")[0], ",;\t")
    except csv.Error:
        dialect = csv.excel
    try:
        return list(csv.reader(StringIO(text, newline=""), dialect))
    except csv.Error as error:
        raise InputError(f"the CSV file cannot be read: {error}") from None


def pasted(text: str) -> list[list[str]]:
    """The rows of a text copied from a spreadsheet: cells end with tabs."""
    return list(csv.reader(StringIO(text.replace("\r\n", "\n"), newline=""), csv.excel_tab))


def rows_of(table: Table, sheet: Iterable[Sequence[str]], in_place: bool) -> list[tuple[str, list[str]]]:
    """(where the row stood, its texts) of a sheet for a table, by the heads in its first row.

    Without heads the columns are the table's, in order. `in_place`: the rows are all there are, and one that
    stood in the table goes on where it stood, by its ids or, in a list, by its place. Raises InputError.
    """
    rows = [cells for row in sheet if (cells := _trimmed(row))]
    if not rows:
        return []
    if len(rows) > MOST_ROWS:
        raise InputError(f"the sheet has {len(rows)} rows; at most {MOST_ROWS} are read")
    columns = table.all_columns
    order = _heads(columns, rows[0])
    if order is None and in_place:
        known = "; ".join(map(headed, columns))
        raise InputError(f"the first row has to name the columns: {known}{_near(columns, rows[0])}")
    body = rows if order is None else rows[1:]
    order = order or list(range(len(columns)))
    problems = [
        Problem(f"row {number}: {len(row)} cells, but the table has {len(order)} columns")
        for number, row in enumerate(body, 1)
        if len(row) > len(order)
    ]
    if problems:
        raise InputError(problems)
    known_rows = {row.texts[: len(table.keys)]: row.name for row in table.rows}
    found = []
    for number, row in enumerate(body):
        texts = [""] * len(columns)
        for index, text in zip(order, row, strict=False):
            texts[index] = text
        stood = ""
        if in_place and table.is_list:
            stood = table.rows[number].name if number < len(table.rows) and len(table.keys) == 0 else ""
        elif in_place:
            stood = known_rows.get(tuple(texts[: len(table.keys)]), "")
        found.append((stood, texts))
    return found


def _trimmed(row: Sequence[str]) -> list[str]:
    """A row's cells without the empty ones at its end."""
    cells = [str(cell).strip() for cell in row]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _heads(columns: Sequence[Column], row: Sequence[str]) -> list[int] | None:
    """Which column each cell of the first row names; None where it names none of them all."""
    names: dict[str, int] = {}
    for index, column in enumerate(columns):
        names |= {headed(column).casefold(): index, column.title.casefold(): index}
    found = [names.get(cell.casefold()) for cell in row]
    return [index for index in found if index is not None] if found and None not in found else None


def _near(columns: Sequence[Column], row: Sequence[str]) -> str:
    names = [headed(column) for column in columns]
    odd = next((cell for cell in row if cell not in names), "")
    return f'; "{odd[:60]}" is none of them{hint(odd, names)}' if odd else ""


def _read_xlsx(content: bytes) -> list[list[str]]:
    too_large = "the XLSX file is too large to be a table of a rulebook"
    unreadable = "the file is no XLSX workbook that can be read; save it again as .xlsx"
    with opened_workbook(BytesIO(content), MOST_UNPACKED, too_large, unreadable) as loaded:
        sheet = loaded(data_only=True).worksheets[0]
        rows = sheet.iter_rows(values_only=True, max_row=MOST_ROWS + 2, max_col=100)
        return [[_cell(value) for value in row] for row in rows]


def _cell(value: object) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float():
            return f"{value:.10g}" if abs(value) < 1e10 else str(value)
        case datetime():
            return value.date().isoformat()
        case date():
            return value.isoformat()
        case _:
            return str(value)


def _is_number(text: str) -> bool:
    return bool(text) and text.replace(".", "", 1).replace("-", "", 1).isdigit() and text.isascii()
