"""Empty files to fill in: a CSV file for each kind of record, or a workbook with a sheet for each."""

import csv
from collections.abc import Iterable, Iterator
from pathlib import Path

from triage.loading.columns import COLUMNS
from triage.values.errors import InputError


def write_template(target: Path, recorded: Iterable[str]) -> list[Path]:
    """Makes the files in the folder `target`, or the workbook `target` (.xlsx), and says which.

    `recorded` are the ids of the rulebook's recorded facts, a column each. Raises InputError, and writes
    nothing, where one is there already.
    """
    facts = [f"fact.{fact}" for fact in recorded]
    one = target.suffix.lower() == ".xlsx"
    made = [target] if one else [target / f"{kind}.csv" for kind in COLUMNS]
    there = [str(path) for path in made if path.exists()]
    if there:
        raise InputError(f"there already, and left as it is: {', '.join(there)}; give another place")
    (target.parent if one else target).mkdir(parents=True, exist_ok=True)
    if one:
        _workbook(target, facts)
        return made
    for path, kind in zip(made, COLUMNS, strict=True):
        with path.open("w", newline="", encoding="utf-8") as stream:
            csv.writer(stream).writerow(name for name, _ in _header(kind, facts))
    return made


def _header(kind: str, facts: list[str]) -> Iterator[tuple[str, str]]:
    for column, meaning in COLUMNS[kind].items():
        name = column.rstrip("*")
        if column != name:
            meaning = f"{meaning or name.replace('_', ' ')} (a new one needs it)"
        if name == "fact.":
            yield from ((fact, "") for fact in facts)
        elif not name.endswith("."):
            yield name, meaning


def _workbook(path: Path, facts: list[str]) -> None:
    from openpyxl import Workbook
    from openpyxl.comments import Comment
    from openpyxl.utils import get_column_letter

    book = Workbook()
    book.remove(book.worksheets[0])
    for kind in COLUMNS:
        sheet = book.create_sheet(kind)
        sheet.freeze_panes = "A2"
        for number, (name, meaning) in enumerate(_header(kind, facts), start=1):
            cell = sheet.cell(1, number, name)
            sheet.column_dimensions[get_column_letter(number)].width = max(12, len(name) + 2)
            if meaning:
                cell.comment = Comment(meaning, "Barrelwise")
    book.save(path)
