"""Rows of an XLSX workbook, as those of a CSV file: a sheet is a file, a cell has its row and column."""

import warnings
from collections.abc import Iterator
from datetime import datetime, time
from pathlib import Path
from typing import Any
from zipfile import ZipFile

from openpyxl import load_workbook

from triage.loading.rows import MOST_BYTES, Cell, Row, rows_of_table
from triage.values.errors import InputError, Problem


def read_workbook(path: Path) -> dict[str, list[Row]]:
    """The rows of each sheet by its name. Raises InputError naming file, row and column."""
    name = path.name
    try:
        with ZipFile(path) as parts:
            if sum(part.file_size for part in parts.infolist()) > 4 * MOST_BYTES:
                raise InputError([Problem("the workbook is too large; split it", file=name)])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and checks of input that are not kept
            shown = load_workbook(path, read_only=True, data_only=True)
            typed = load_workbook(path, read_only=True)
            try:
                sheets = {
                    sheet.title: [*_table(f"{name}[{sheet.title}]", sheet, typed[sheet.title])]
                    for sheet in shown.worksheets
                }
            finally:
                shown.close()
                typed.close()
    except InputError:
        raise
    except Exception as error:  # whatever the libraries raise where a file is no workbook, or a broken one
        message = f"this is not a workbook that can be read ({type(error).__name__}); save it as XLSX anew"
        raise InputError([Problem(message, file=name)]) from None
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
