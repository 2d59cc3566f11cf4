"""Rows of an XLSX workbook, as those of a CSV file: a sheet is a file, a cell has its row and column."""

from collections.abc import Iterator
from datetime import datetime, time
from pathlib import Path
from typing import Any

from triage.loading.rows import MOST_BYTES, Cell, Row, rows_of_table
from triage.values.errors import InputError, Problem
from triage.values.workbook import opened_workbook


def read_workbook(path: Path) -> dict[str, list[Row]]:
    """The rows of each sheet by its name. Raises InputError naming file, row and column."""
    name = path.name
    unreadable = "this is not a workbook that can be read ({kind}); save it as XLSX anew"
    too_large = "the workbook is too large; split it"
    with opened_workbook(path, 4 * MOST_BYTES, too_large, unreadable, name) as loaded:
        shown, typed = loaded(data_only=True), loaded()
        try:
            sheets = {
                sheet.title: [*_table(f"{name}[{sheet.title}]", sheet, typed[sheet.title])]
                for sheet in shown.worksheets
            }
        finally:
            shown.close()
            typed.close()
    return {title: rows_of_table(f"{name}[{title}]", table) for title, table in sheets.items() if table}


def _table(name: str, shown: Any, typed: Any) -> Iterator[list[Cell]]:
    for number, (values, formulas) in enumerate(zip(shown.rows, typed.rows, strict=True), start=1):
        cells = []
        for column, (value, formula) in enumerate(zip(values, formulas, strict=True), start=1):
            if value.data_type == "e" or (formula.data_type == "f" and value.value is None):
                what = value.value or "no value; open and save it once where it is calculated"
                problem = Problem(f"the formula gives {what}", file=name, line=number, column=column)
                raise InputError([problem])
            cells.append(Cell(_text(value.value), number, column))
        yield cells


def _text(value: object) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case float() if value.is_integer():
            return str(int(value))
        case datetime() if value.time() == time():
            return value.date().isoformat()
        case time():
            return f"{value:%H:%M}"
        case datetime():
            return value.isoformat()
        case _:
            return str(value).strip()
