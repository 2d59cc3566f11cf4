"""What was learned, as a change to the rulebook's files: only the numbers change.

Every number is found by the line and column at which ruamel.yaml reads it and replaced there, so that
comments, order, quoting and spacing stay to the letter. What was written is read again and compared.
"""

import difflib
import re
import shutil
from collections.abc import Iterable, Mapping
from decimal import Decimal
from pathlib import Path

from triage.rulebook_care.learning.learning import Learned
from triage.rulebook_care.learning.learning import Path as KeyPath
from triage.values.errors import InputError, Problem
from triage.values.yaml_source import read_yaml

_NUMBER = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?", re.ASCII)


def patched_files(folder: Path, learned: Iterable[Learned]) -> Mapping[str, tuple[str, str]]:
    """File -> (text before, text after), for the files of `folder` in which a number is proposed."""
    changes: dict[str, dict[KeyPath, Decimal]] = {}
    for one in learned:
        if one.proposed is not None:
            changes.setdefault(one.number.file, {})[one.number.path] = one.proposed
    found = {}
    for file, numbers in sorted(changes.items()):
        before = (folder / file).read_bytes().decode("utf-8")
        found[file] = (before, with_numbers(before, numbers, file))
    return found


def with_numbers(text: str, numbers: Mapping[KeyPath, Decimal], file: str) -> str:
    """The YAML text with other numbers at these paths. Raises InputError where one is not a plain number."""
    source = read_yaml(text.encode(), file)
    lines = text.splitlines(keepends=True)
    places = sorted(((source.values[path], path) for path in numbers), key=lambda each: each[0].column)
    for place, path in reversed(places):  # from the right, so that columns to the left stay
        line = lines[place.line - 1]
        match = _NUMBER.match(line, place.column - 1)
        if match is None:
            where = ".".join(path)
            message = f"{where} is not written as a plain number; change it by hand"
            raise InputError([Problem(message, file=file, line=place.line, column=place.column)])
        lines[place.line - 1] = line[: match.start()] + format(numbers[path], "f") + line[match.end() :]
    changed = "".join(lines)
    again = read_yaml(changed.encode(), file)
    for path, number in numbers.items():
        if _at(again.data, path) != number:
            raise InputError(
                [Problem(f"{'.'.join(path)} cannot be changed safely; do it by hand", file=file)]
            )
    return changed


def unified_diff(patched: Mapping[str, tuple[str, str]]) -> str:
    """The change in the form that `git apply` takes."""
    return "".join(
        line
        for file, (before, after) in patched.items()
        for line in difflib.unified_diff(
            before.splitlines(keepends=True), after.splitlines(keepends=True), f"a/{file}", f"b/{file}"
        )
    )


def write_candidate(folder: Path, out: Path, patched: Mapping[str, tuple[str, str]]) -> None:
    """Copies the rulebook to `out`, a folder that is not there yet, with the change made.

    Raises InputError when it is there.
    """
    try:
        shutil.copytree(folder, out)
    except FileExistsError:
        raise InputError([Problem("this folder is there already; name a new one", file=str(out))]) from None
    except OSError as error:
        raise InputError([Problem(f"the candidate cannot be written ({error})", file=str(out))]) from None
    for file, (_, after) in patched.items():
        (out / file).write_bytes(after.encode())


def _at(data: object, path: KeyPath) -> object:
    for key in path:
        assert isinstance(data, Mapping)
        data = data[key]
    return data
