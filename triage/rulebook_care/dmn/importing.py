"""DMN back into rulebook files.

What the table says counts. What it has no place for comes from the file's own extension, and where there is
none from the rulebook's file. Where the rows are still those that a `when` makes, it is kept word for word.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.dmn.cells import CellReader
from triage.rulebook_care.dmn.exporting import vocabulary
from triage.rulebook_care.dmn.import_limits import limit_data
from triage.rulebook_care.dmn.import_policy import policy_files
from triage.rulebook_care.dmn.read import read_model
from triage.rulebook_care.dmn.table import POLICY_OUTPUTS, Table
from triage.values.errors import InputError, Problem, RulebookError
from triage.values.json_text import read_strict
from triage.values.plain_data import NotPlain, canonical, plain

_LIMITS_PATH = re.compile(r"limits/[a-z][a-z0-9_-]{0,63}\.yml")
_PATH = re.compile(r"(limits|policy)/[a-z][a-z0-9_-]{0,63}\.yml")
_ID = re.compile(r"[a-z][a-z0-9_-]{0,63}")


@dataclass(frozen=True, slots=True)
class Imported:
    """The whole rulebook with the tables in it. `changed` are the files whose content is another now, None
    for one that is taken out."""

    rulebook: Rulebook
    files: Mapping[str, object]
    changed: Mapping[str, object | None]


def import_tables(content: bytes, file: str, files: Mapping[str, object]) -> Imported:
    """The rulebook of `files` with the tables of a DMN file in place of its own.

    `file` names the DMN file in problems. Raises InputError with every problem found.
    """
    read = read_model(content, file)
    before = {path: plain(data) for path, data in files.items()}
    rulebook = rulebook_from_data(before)
    problems = [
        Problem(
            f"amounts here are in {currency}, this rulebook's in {rulebook.currency}; convert them",
            file=file,
            line=line or None,
        )
        for currency, line in read.currencies.items()
        if currency != rulebook.currency
    ]
    work = _Work(rulebook, before, CellReader(vocabulary(rulebook), file), file)
    for table in read.tables:
        work.take(table)
    problems += work.reader.problems
    if problems:
        raise InputError(sorted(set(problems), key=lambda each: (each.line or 0, each.message)))
    after = {path: data for path, data in {**before, **work.made}.items() if data is not None}
    try:
        whole = rulebook_from_data(after)
    except RulebookError as error:
        raise InputError([work.located(problem) for problem in error.problems]) from None
    changed = {
        path: data
        for path, data in work.made.items()
        if (data is None) != (path not in before)
        or (data is not None and canonical(data) != canonical(before.get(path)))
    }
    return Imported(whole, after, changed)


class _Work:
    def __init__(
        self, rulebook: Rulebook, before: Mapping[str, object], reader: CellReader, file: str
    ) -> None:
        self.rulebook, self.before, self.reader, self.file = rulebook, before, reader, file
        self.made: dict[str, object | None] = {}
        self.lines: dict[str, tuple[int, ...]] = {}  # path -> line of the table or rule, then of its rows

    def take(self, table: Table) -> None:
        names = {output.name for output in table.outputs}
        if {"outcome", "rule"} <= names:
            self.policy(table)
        elif names & {"amount", "authority"}:
            self.limit(table)
        else:
            message = (
                f'"{table.name[:64]}" gives neither amount or authority, as a limit table does, nor '
                f"{', '.join(POLICY_OUTPUTS)}, as the policy does; name the outputs so"
            )
            self.reader.problem(table.line, message)

    def limit(self, table: Table) -> None:
        known = self.known(table)
        own = next((path for path in known if _LIMITS_PATH.fullmatch(path)), "")
        name = re.sub(r"\s+", "_", table.name.strip().lower())
        if not _ID.fullmatch(name):  # renamed to what cannot be an id
            name = own.removeprefix("limits/").removesuffix(".yml")
        if not name:
            message = (
                f'"{table.name[:64]}" cannot be an id; name the table with a-z, 0-9, - and _, such as nte'
            )
            self.reader.problem(table.line, message)
            return
        path = f"limits/{name}.yml"
        if path in self.made:
            self.reader.problem(table.line, f'the table "{name}" stands twice; take one out')
            return
        rows = self.reader.rows(table)
        raw = known.get(path) or self.before.get(path) or known.get(own)
        self.made[path] = limit_data(self.reader, table, rows, name, raw)
        self.lines[path] = (table.line, *(rule.line for rule in table.rules))

    def policy(self, table: Table) -> None:
        if any(path.startswith("policy/") for path in self.made):
            self.reader.problem(table.line, "a file has one policy table; put all rules in one")
            return
        rows = self.reader.rows(table)
        made, lines = policy_files(self.reader, table, rows, self.known(table), self.before)
        self.made.update(made)
        self.lines.update({path: (line,) for path, line in lines.items()})

    def known(self, table: Table) -> dict[str, object]:
        """The files that the table's extension brings, as plain data."""
        found: dict[str, object] = {}
        for path, content in table.files.items():
            try:
                if not _PATH.fullmatch(path):
                    raise InputError(f'"{path[:80]}" is not the path of a limit table or policy rule')
                data = plain(read_strict(content.encode("utf-8", "replace")))
                if not isinstance(data, dict):
                    raise InputError("a mapping is wanted")
                found[path] = data
            except (InputError, NotPlain) as error:
                message = f"the extension for {path[:80]} cannot be read ({error}); take it out"
                self.reader.problem(table.line, message)
        return found

    def located(self, problem: Problem) -> Problem:
        """A problem of a file made here, at the table or row it comes from."""
        lines = self.lines.get(problem.file or "")
        if lines is None:
            return problem
        row = re.match(r"/rows/(\d+)(?:/|$)", problem.pointer or "")
        index = int(row[1]) + 1 if row is not None else 0
        line = lines[index] if index < len(lines) else lines[0]
        return Problem(f"{problem.file}: {problem.message}", file=self.file, line=line or None)
