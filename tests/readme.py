"""`python -m tests.readme [--check]`: fills the README's marked parts from what the program really says.

A part stands between `<!-- KIND: ARGUMENT -->` and `<!-- /KIND -->`: `file` shows a file, `include` takes a
document in, `run` shows a command with the first lines of its output, `settings` the table of settings,
`columns` that of the files of a load.
"""

from __future__ import annotations

import re
import shlex
import sys

from click.testing import CliRunner

from tests import ROOT
from triage.cli.main import barrelwise
from triage.config import SETTINGS
from triage.loading import columns as loading

README = ROOT / "README.md"
LINES_SHOWN = 32
COLUMNS = "100"
PART = re.compile(r"(<!-- (file|include|run|settings|columns)(?:: (.*?))? -->\n).*?(<!-- /\2 -->)", re.DOTALL)


def filled(text: str) -> str:
    """The README with every marked part made anew."""
    return PART.sub(lambda part: part[1] + MAKERS[part[2]](part[3] or "") + part[4], text)


def _file(name: str) -> str:
    return f"```json\n{(ROOT / name).read_text(encoding='utf-8')}```\n"


def _include(name: str) -> str:
    """The document, its title two levels down."""
    return f"##{(ROOT / name).read_text(encoding='utf-8')}"


def _run(command: str) -> str:
    words = shlex.split(command)
    assert words[0] == "barrelwise"
    result = CliRunner(env={"COLUMNS": COLUMNS}).invoke(barrelwise, words[1:], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    lines = [line.rstrip() for line in result.stdout.splitlines()[:LINES_SHOWN]]
    shown = f"$ COLUMNS={COLUMNS} {command} | head -{LINES_SHOWN}"
    return "\n".join(["```console", shown, *lines, "```", ""])


def _settings(_: str) -> str:
    rows = [
        f"| `{name}` | {f'`{default}`' if default else ''} | {meaning} |"
        for name, default, meaning in SETTINGS
    ]
    return "\n".join(["| setting | default | meaning |", "|---|---|---|", *rows, ""])


def _columns(_: str) -> str:
    lines = ["| file | column | what stands in it |", "|---|---|---|"]
    for kind, columns in loading.COLUMNS.items():
        for column, meaning in columns.items():
            name = f"{column}<…>" if column.endswith(".") else column
            lines.append(f"| {f'`{kind}`' if column == next(iter(columns)) else ''} | `{name}` | {meaning} |")
    return "\n".join([*lines, ""])


MAKERS = {"file": _file, "include": _include, "run": _run, "settings": _settings, "columns": _columns}


def main() -> int:
    text = README.read_text(encoding="utf-8")
    fresh = filled(text)
    if "--check" in sys.argv[1:]:
        return 0 if fresh == text else 1
    README.write_text(fresh, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
