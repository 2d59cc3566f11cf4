"""The table of checks against the outside world, made from the docstrings of `tests/published/test_*.py`.

    python -m tests.published_table            rewrites the section of DEVELOPERS.md between the two markers
    python -m tests.published_table --check    exits 1 when that section is stale, and changes nothing

A docstring's first line says what is checked. Then come `Source: ...` (author; title; year; section; what
is not known is said to be unknown) and `Status: ...`, once each; an indented line goes on with the field
above it. A status begins with one of: read, secondary copy, from memory, common practice, computed with
<library>. More may follow after a comma, a semicolon or in brackets, such as "read (inputs), computed with
pgmpy (outputs)".
"""

from __future__ import annotations

import ast
import re
import sys
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
PUBLISHED = HERE / "published"
GUIDE = HERE.parent / "DEVELOPERS.md"
BEGIN, END = "<!-- published-checks -->", "<!-- /published-checks -->"

_FIELD = re.compile(r"^(Source|Status): *((?:.*\n?)(?:[ \t]+\S.*\n?)*)", re.MULTILINE)
_DATED = re.compile(r"\b1[89]\d\d\b|\b20\d\d\b|unknown")
_URL = re.compile(r"https?://\S+")
_STATUS = re.compile(
    r"(?:read|secondary copy|from memory|common practice|computed with \w[\w.-]*)(?: \(.*|[,;].*)?"
)


@dataclass(frozen=True, slots=True)
class PublishedCheck:
    module: str  # file name
    checks: str
    source: str
    status: str


class DocstringError(ValueError):
    """A module of published checks that does not say what, after whom, or with which status."""


def read_check(name: str, code: str) -> PublishedCheck:
    """The check a module's docstring describes; DocstringError says what it lacks."""
    text = ast.get_docstring(ast.parse(code)) or ""
    first_line = text.partition("\n")[0].strip()
    fields: dict[str, str] = {}
    for match in _FIELD.finditer(text):
        if match[1] in fields:
            raise DocstringError(f"{name}: {match[1]} is given twice; one module checks against one source")
        fields[match[1]] = " ".join(match[2].split())
    if not first_line or first_line.startswith(("Source:", "Status:")):
        raise DocstringError(f"{name}: the first line must say what is checked")
    for field in ("Source", "Status"):
        if not fields.get(field):
            raise DocstringError(f"{name}: the docstring needs a line `{field}: ...`")
    if not _DATED.search(_URL.sub("", fields["Source"])):
        raise DocstringError(f"{name}: the source gives no year; write it, or that it is unknown")
    if not _STATUS.fullmatch(fields["Status"]):
        raise DocstringError(f'{name}: "{fields["Status"]}" is not a status; see tests/published_table.py')
    return PublishedCheck(name, first_line, fields["Source"], fields["Status"])


def all_checks(folder: Path = PUBLISHED) -> list[PublishedCheck]:
    """Every `test_*.py` of the folder, by name; all faulty docstrings are reported together."""
    checks, problems = [], []
    for path in sorted(folder.glob("test_*.py")):
        try:
            checks.append(read_check(path.name, path.read_text(encoding="utf-8")))
        except DocstringError as error:
            problems.append(str(error))
    if problems:
        raise DocstringError("\n".join(problems))
    return checks


def as_table(checks: list[PublishedCheck]) -> str:
    """A Markdown table, one row a module."""
    rows = ["| Checked | Source | Status | Test |", "|---|---|---|---|"]
    for check in checks:
        cells = [check.checks, check.source, check.status, f"`tests/published/{check.module}`"]
        rows.append("| " + " | ".join(cell.replace("|", r"\|") for cell in cells) + " |")
    return "\n".join(rows)


def with_table(guide: str, table: str) -> str:
    """The guide with the table between the markers, which must be there once and in order."""
    before, begin, rest = guide.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"the guide needs the lines {BEGIN} and {END}")
    return f"{before}{BEGIN}\n{table}\n{END}{after}"


def main(arguments: list[str], guide: Path = GUIDE, folder: Path = PUBLISHED) -> int:
    """0 done or fresh, 1 stale, 2 wrong arguments, a faulty docstring, or a guide without markers."""
    if arguments not in ([], ["--check"]):
        print("usage: python -m tests.published_table [--check]", file=sys.stderr)
        return 2
    try:
        old = guide.read_text(encoding="utf-8")
        new = with_table(old, as_table(all_checks(folder)))
    except (OSError, ValueError) as error:
        print(error, file=sys.stderr)
        return 2
    if arguments:
        if old != new:
            print(f"{guide.name} is stale; run python -m tests.published_table", file=sys.stderr)
        return int(old != new)
    guide.write_text(new, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
