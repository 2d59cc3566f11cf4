"""Rows of a CSV or JSON file, every cell with its line and column.

Both kinds give the same rows: text cells by column name. Cells of CSV are parted by commas, semicolons, tabs
or bars, as the header is. In JSON a file is a list of objects; `facts` and `details` may be nested objects
and become the columns `fact.<id>` and `details.<name>`.
"""

import codecs
import csv
import io
import json
import re
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from triage.values.errors import InputError, Problem
from triage.values.json_text import refuse_half_characters, strict_decoder
from triage.values.shown import unseen_sign

MOST_BYTES = 64 * 1024 * 1024
MOST_COLUMN = 60
"""Characters of a column's name that a problem repeats."""
NESTED = {"facts": "fact.", "details": "details."}


SEPARATORS = {",": "a comma", ";": "a semicolon", "\t": "a tab", "|": "a bar"}
_CELLS = {
    mark: re.compile(
        r"""(?P<cell>"(?:[^"]|"")*"|[^"MARK\r\n][^MARK\r\n]*|)(?P<end>[MARK]|\r|\n|)""".replace("MARK", mark)
    )
    for mark in SEPARATORS
}
"""A cell of CSV and what follows it; a cell in quotes that is followed by anything else is broken."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell's text, stripped, and where it stands (1-based)."""

    text: str
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Row:
    file: str
    line: int
    cells: Mapping[str, Cell]

    def problem(self, column: str, message: str) -> Problem:
        """A problem at a cell, or at the row where it has no such cell."""
        cell = self.cells.get(column)
        line, place = (self.line, 1) if cell is None else (cell.line, cell.column)
        return Problem(f"{column[:MOST_COLUMN]}: {message}", file=self.file, line=line, column=place)


def read_rows(path: Path) -> list[Row]:
    """All rows of a file. Raises InputError naming file, line and column when it cannot be read."""
    name = path.name
    try:
        if not path.is_file():
            raise InputError([Problem("this is not a file; take it out of the folder", file=name)])
        if path.stat().st_size > MOST_BYTES:
            message = f"the file is larger than {MOST_BYTES // 2**20} MiB; split it"
            raise InputError([Problem(message, file=name)])
        content = path.read_bytes()
    except OSError as error:
        raise InputError([Problem(f"the file cannot be read ({error.strerror})", file=name)]) from None
    try:
        wide = content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
        text = content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        message = "the file is not UTF-8 text; save it as UTF-8"
        raise InputError([Problem(message, file=name, line=line, column=1)]) from None
    rows = _json_rows(name, text) if path.suffix.lower() == ".json" else _csv_rows(name, text)
    return _printable(rows)


def _printable(rows: list[Row]) -> list[Row]:
    """The rows; InputError where a cell holds what cannot be seen."""
    problems = [
        row.problem(column, wrong)
        for row in rows
        for column, cell in row.cells.items()
        if (wrong := unseen_sign(column) or unseen_sign(cell.text)) is not None
    ]
    if problems:
        raise InputError(problems)
    return rows


def _csv_rows(name: str, text: str) -> list[Row]:
    problems: list[Problem] = []
    rows: list[Row] = []
    header: list[str] = []
    lines = list(io.StringIO(text, newline=""))
    separator = _separator(lines)
    reader = csv.reader(lines, strict=True, delimiter=separator)
    start = 0
    try:
        for values in reader:
            line, written = start + 1, "".join(lines[start : reader.line_num])
            start = reader.line_num
            if not any(value.strip() for value in values):
                continue
            place = _placer(written, line)
            places = [place(found.start()) for found in _csv_cells(written, separator)]
            if not header:
                header = list(map(_column_name, values))
                problems += _header_problems(name, header, places)
            elif len(values) != len(header):
                message = f"the row has {len(values)} cells, the header {len(header)}; "
                message += f"is {SEPARATORS[separator]} unquoted?"
                problems.append(Problem(message, file=name, line=line, column=1))
            else:
                cells = {
                    column: Cell(value.strip(), *place)
                    for column, value, place in zip(header, values, places, strict=True)
                }
                rows.append(Row(name, line, cells))
    except csv.Error as error:
        problems.append(_broken("".join(lines[start : reader.line_num]), start + 1, name, error, separator))
    if not header and not problems:
        problems.append(Problem("the file is empty; its first line names the columns", file=name, line=1))
    if problems:
        raise InputError(problems)
    return rows


def _separator(lines: list[str]) -> str:
    """What stands most often between the names of the columns."""
    header = re.sub(r'"[^"]*"', "", next((line for line in lines if line.strip()), ""))
    return max(SEPARATORS, key=header.count)


def _column_name(written: str) -> str:
    """`Shipped on` and `SHIPPED-ON` are shipped_on; what follows a point stays as it is, but for a fact."""
    name, point, rest = written.strip().partition(".")
    name = re.sub(r"[\s-]+", "_", name.strip().lower())
    return name + point + (rest.lower() if name == "fact" else rest)


def rows_of_table(name: str, table: Sequence[Sequence[Cell]]) -> list[Row]:
    """The rows of a sheet, whose first line with anything in it names the columns."""
    filled = [line for line in table if any(cell.text for cell in line)]
    if not filled:
        return []
    named = [(_column_name(cell.text), cell) for cell in filled[0]]
    while named and not named[-1][0]:
        named.pop()
    places = [(cell.line, cell.column) for _, cell in named]
    problems = [*_header_problems(name, [column for column, _ in named], places)]
    rows = []
    for line in filled[1:]:
        beyond = next((cell for cell in line[len(named) :] if cell.text), None)
        if beyond is not None:
            message = "there is no column of this name in the first line"
            problems.append(Problem(message, file=name, line=beyond.line, column=beyond.column))
        cells = {column: cell for (column, _), cell in zip(named, line, strict=False)}
        rows.append(Row(name, line[0].line, cells))
    if problems:
        raise InputError(problems)
    return _printable(rows)


def _csv_cells(written: str, separator: str) -> Iterator[re.Match[str]]:
    """The cells of one record; a quote mark opens one only where it begins it: 12" is twelve inches."""
    for found in _CELLS[separator].finditer(written):
        yield found
        if found["end"] != separator:
            return


def _broken(written: str, line: int, name: str, error: csv.Error, separator: str) -> Problem:
    """What the CSV reader met in this record: most often a quote mark that stands once in a quoted cell."""
    *_, last = _csv_cells(written, separator)
    if last["cell"].startswith('"') and not last["end"]:
        line, column = _placer(written, line)(last.end() - 1)
        message = 'a quote mark within quotes is written twice, such as "a 12"" door"'
        return Problem(message, file=name, line=line, column=column)
    return Problem(f"broken CSV: {error}", file=name, line=line, column=1)


def _placer(text: str, first_line: int = 1) -> Callable[[int], tuple[int, int]]:
    """Gives line and column (1-based) of an offset into `text`, which begins on `first_line`."""
    starts = [0, *(found.end() for found in re.finditer("\n", text))]

    def place(offset: int) -> tuple[int, int]:
        line = bisect_right(starts, offset)
        return first_line + line - 1, offset - starts[line - 1] + 1

    return place


def _header_problems(name: str, header: list[str], places: list[tuple[int, int]]) -> Iterator[Problem]:
    seen: set[str] = set()
    for column, (line, place) in zip(header, places, strict=True):
        if not column:
            yield Problem("a column has no name", file=name, line=line, column=place)
        elif column in seen:
            yield Problem(f'the column "{column}" stands twice', file=name, line=line, column=place)
        seen.add(column)


def _json_rows(name: str, text: str) -> list[Row]:
    place = _placer(text)

    def problem(message: str, offset: int) -> Problem:
        line, column = place(offset)
        return Problem(message, file=name, line=line, column=column)

    decoder = strict_decoder()
    rows, problems = [], []
    try:
        for offset, end, value in _json_items(text, decoder):
            if not isinstance(value, dict):
                problems.append(problem("each item of the list is an object, one for a row", offset))
                continue
            cells: dict[str, Cell] = {}
            for key, cell, where in _json_cells(value, text, offset, end):
                if isinstance(cell, dict | list):
                    problems.append(problem(f'"{key}" is a plain value, not a list or object', where))
                else:
                    cells[key] = Cell(_as_text(cell), *place(where))
            rows.append(Row(name, place(offset)[0], cells))
    except json.JSONDecodeError as error:
        problems.append(problem(f"broken JSON: {error.msg}", error.pos))
    except RecursionError:
        problems.append(problem("the file is nested too deeply", 0))
    if problems:
        raise InputError(problems)
    return rows


def _json_items(text: str, decoder: json.JSONDecoder) -> Iterator[tuple[int, int, Any]]:
    """Start, end and value of each item of the list that the text is."""
    at = _skip(text, 0)
    if text[at : at + 1] != "[":
        raise json.JSONDecodeError("the file is a list of objects, [ {…}, {…} ]", text, at)
    at = _skip(text, at + 1)
    while text[at : at + 1] != "]":
        try:
            value, end = decoder.raw_decode(text, at)
            refuse_half_characters(value)
        except json.JSONDecodeError:
            raise
        except ValueError as error:
            raise json.JSONDecodeError(str(error), text, at) from None
        yield at, end, value
        at = _skip(text, end)
        if text[at : at + 1] == ",":
            at = _skip(text, at + 1)
        elif text[at : at + 1] != "]":
            raise json.JSONDecodeError("a comma or ] is missing", text, at)
    if text[at + 1 :].strip():
        raise json.JSONDecodeError("something follows the end of the list", text, at + 1)


def _json_cells(value: dict[str, Any], text: str, start: int, end: int) -> Iterator[tuple[str, Any, int]]:
    for key, cell in value.items():
        if key in NESTED and isinstance(cell, dict):
            for inner, part in cell.items():
                yield NESTED[key] + inner, part, _key_offset(text, inner, start, end)
        else:
            yield key, cell, _key_offset(text, key, start, end)


def _key_offset(text: str, key: str, start: int, end: int) -> int:
    found = re.compile(re.escape(json.dumps(key, ensure_ascii=False)) + r"\s*:").search(text, start, end)
    return start if found is None else found.start()


def _skip(text: str, at: int) -> int:
    while at < len(text) and text[at] in " \t\r\n":
        at += 1
    return at


def _as_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value).strip()
