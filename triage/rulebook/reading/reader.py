"""Reads a rulebook from a folder of YAML files, or from the same files as plain data.

Every problem in every file is collected and raised together, each with file, line and column where it came
from a file. See `rulebook_files` for the shapes.
"""

import hashlib
import os
import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path as FilePath

from triage.rulebook.model import Rulebook
from triage.rulebook.reading.link import Shapes, link
from triage.rulebook.reading.problems import Problems
from triage.rulebook.reading.shapes import KINDS, OPTIONAL, SINGLES
from triage.rulebook.reading.table_shapes import Shape
from triage.rulebook.reading.validate import read_shape
from triage.values.errors import Problem, RulebookError
from triage.values.plain_data import NotPlain, Path, canonical, plain
from triage.values.shown import hint
from triage.values.yaml_source import MOST_BYTES, Source, read_yaml

MOST_FILES = 5000

_BACKUP = re.compile(r"~$|^#.*#$|\.(bak|orig|rej|swp|tmp)$", re.IGNORECASE)

NOTES = ("README", "DMN.MD")
"""How the names of files begin that are for people only, in capitals."""


def read_rulebook(folder: FilePath) -> Rulebook:
    """The rulebook of a folder. Raises RulebookError with every problem found."""
    return rulebook_of_sources(*read_sources(folder))


def read_with_files(
    folder: FilePath, read_one: Callable[[FilePath, str], Source] | None = None
) -> tuple[Rulebook, Mapping[str, object]]:
    """The rulebook of a folder and the plain data it was read from, by one reading: they never differ.

    `read_one` as for `read_sources`.
    """
    sources, broken = read_sources(folder, read_one)
    rulebook = rulebook_of_sources(sources, broken)
    return rulebook, {file: source.data for file, source in sources.items()}


def rulebook_files_data(folder: FilePath) -> Mapping[str, object]:
    """The folder's files as plain data, as `rulebook_from_data` takes them. Raises RulebookError."""
    sources, broken = read_sources(folder)
    if broken:
        raise RulebookError(problem for problems in broken.values() for problem in problems)
    return {file: source.data for file, source in sources.items()}


def rulebook_from_data(files: Mapping[str, object], version: str | None = None) -> Rulebook:
    """The rulebook of files held as plain data: relative path such as "facts/x.yml" -> its content.

    Dates may be texts in ISO 8601 and numbers ints, floats or Decimals, so that it may come from JSON. A
    stored rulebook keeps the `version` it was published under, though folders may have been renamed since;
    without one it is worked out. Raises RulebookError; its problems have a file and pointer, but no line.
    """
    return rulebook_of_sources(*plain_sources(files), version)


def plain_sources(
    files: Mapping[str, object],
) -> tuple[dict[str, Source], dict[str, tuple[Problem, ...]]]:
    """Each file of a rulebook held as data by itself, as `read_sources` gives those of a folder."""
    sources: dict[str, Source] = {}
    broken: dict[str, tuple[Problem, ...]] = {}
    for file, raw in files.items():
        try:
            sources[file] = Source(plain(raw))
        except NotPlain as error:
            where = ".".join(str(part) for part in error.path)
            broken[file] = (Problem(f"{where}: {error}" if where else str(error), file=file),)
    return sources, broken


def version_of(files: Mapping[str, object]) -> str:
    """`sha256:` and the digest of the canonical JSON of all files' plain data.

    Order of keys, comments, spacing, quoting and the spelling of a number (1.5, 1.50) do not change it.
    """
    digest = hashlib.sha256(canonical({file: plain(data) for file, data in files.items()}).encode("ascii"))
    return f"sha256:{digest.hexdigest()}"


def read_sources(
    folder: FilePath, read_one: Callable[[FilePath, str], Source] | None = None
) -> tuple[dict[str, Source], dict[str, tuple[Problem, ...]]]:
    """Each file of a folder by itself: those that can be read, and the problems of those that cannot.

    `read_one(path, file)` reads one file and raises RulebookError; it may remember what it read before.
    """
    read_one = read_one or read_file
    if not folder.is_dir():
        message = "there is no such folder; a rulebook is a folder with rulebook.yml in it"
        raise RulebookError([Problem(message, file=str(folder))])
    sources: dict[str, Source] = {}
    broken: dict[str, tuple[Problem, ...]] = {}
    for path in _files(folder):
        file = path.relative_to(folder).as_posix()
        if len(sources) + len(broken) >= MOST_FILES:
            message = f"there are more than {MOST_FILES} files; is this the right folder?"
            raise RulebookError([Problem(message, file=file)])  # alone: what would follow is no fault
        try:
            sources[file] = read_one(path, file)
        except RulebookError as error:
            broken[file] = error.problems
    return sources, broken


def _files(folder: FilePath) -> Iterator[FilePath]:
    """Every file but hidden ones, notes and backups, in a fixed order; and folders that cannot be meant."""
    for place, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        odd = [name for name in folders if name.endswith(".yml") or FilePath(place, name).is_symlink()]
        for name in (*odd, *sorted(names)):
            if not name.startswith(".") and not name.upper().startswith(NOTES) and not _BACKUP.search(name):
                yield FilePath(place, name)


def backups(folder: FilePath) -> tuple[str, ...]:
    """The files that editors left beside those they changed, which are not read."""
    found = (path.relative_to(folder).as_posix() for path in folder.rglob("*") if _BACKUP.search(path.name))
    return tuple(sorted(found))


def read_file(path: FilePath, file: str) -> Source:
    """One file of a rulebook. Raises RulebookError with every problem located in `file`."""
    return read_yaml(content_of(path, file), file)


def content_of(path: FilePath, file: str) -> bytes:
    """What stands in one file of a rulebook. Raises RulebookError where that is none."""
    if path.is_symlink() and path.is_dir():
        message = "this is a link to a folder, which is not followed; put the folder itself here"
        raise RulebookError([Problem(message, file=file)])
    if path.is_dir():
        raise RulebookError([Problem("this is a folder named like a file; rename it", file=file)])
    if path.suffix != ".yml":
        message = "a rulebook holds .yml files only; rename it or take it out"
        raise RulebookError([Problem(message, file=file)])
    if not path.is_file():
        raise RulebookError([Problem("this is not a file that can be read; take it out", file=file)])
    try:
        with path.open("rb") as stream:
            return stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise RulebookError([Problem(f"the file cannot be read ({error.strerror})", file=file)]) from None


def rulebook_of_sources(
    sources: Mapping[str, Source],
    broken: Mapping[str, tuple[Problem, ...]],
    version: str | None = None,
    kept: dict[str, tuple[Source, Shape]] | None = None,
) -> Rulebook:
    """The rulebook of files that `read_sources` gave. Raises RulebookError with every problem found.

    Its version is worked out unless one is given: that of a stored one, or one of no meaning by who looks at
    it and throws it away. `kept` holds the files without fault of earlier calls: a source that is still the
    same object is not looked at again.
    """
    problems = Problems(sources, [problem for found in broken.values() for problem in found])
    files = {*sources, *broken}
    _check_places(files, problems)
    version = version or version_of({file: source.data for file, source in sources.items()})
    rulebook = link(_read_shapes(sources, problems, {} if kept is None else kept), files, version, problems)
    if problems.found or rulebook is None:
        raise RulebookError(
            sorted(set(problems.found), key=lambda p: (p.file or "", p.line or 0, p.column or 0, p.message))
        )
    return rulebook


def _check_places(files: set[str], problems: Problems) -> None:
    strange: dict[str, list[str]] = {}
    for file in sorted(files):
        folder = file.rpartition("/")[0]
        if not folder and file not in SINGLES:
            fix = hint(file, SINGLES, "; rules stand in their folders")
            problems.at(file, (), f"no such file belongs here{fix}")
        elif folder and folder not in KINDS:
            top = folder.partition("/")[0]
            strange.setdefault(folder if top in KINDS else top, []).append(file)
    for folder, inside in strange.items():  # said once a folder, however many files are in it
        fix = hint(folder, KINDS, f"; folders are {', '.join(KINDS)}")
        more = f" ({len(inside)} files)" if len(inside) > 1 else ""
        problems.at(inside[0], (), f'"{folder}" is not a folder of a rulebook{more}{fix}')
    for file in SINGLES:
        if file not in files and file not in OPTIONAL:
            problems.found.append(Problem("this file is missing; every rulebook has one", file=file))
    for kind in ("symptoms", "causes"):
        if not any(file.startswith(f"{kind}/") for file in files):
            problems.found.append(Problem(f"there are no {kind}; a rulebook has at least one", file=kind))


def _read_shapes(
    sources: Mapping[str, Source], problems: Problems, kept: dict[str, tuple[Source, Shape]]
) -> Shapes:
    singles: dict[str, Shape] = {}
    kinds: dict[str, dict[str, Shape]] = {kind: {} for kind in KINDS}
    faulty: dict[str, dict[str, tuple[Shape, frozenset[Path]]]] = {kind: {} for kind in KINDS}
    for file, source in sorted(sources.items()):
        kind, _, name = file.rpartition("/")
        shape = KINDS.get(kind) if kind else SINGLES.get(file)
        if shape is None:
            continue
        seen = kept.get(file)
        if seen is not None and seen[0] is source:
            (kinds[kind] if kind else singles)[file] = seen[1]
            continue
        model, faults = read_shape(shape, source.data, file, problems)
        stem = name.removesuffix(".yml")
        written = source.data.get("id", stem) if isinstance(source.data, dict) else stem
        if kind and isinstance(written, str) and written != stem:
            message = f'the id is "{written[:64]}", but the file is named {name}; make the two one'
            problems.at(file, ("id",), message)
            faults |= {("id",)}
        if model is not None and not faults:
            (kinds[kind] if kind else singles)[file] = model
            kept[file] = source, model
        elif model is not None and kind:
            faulty[kind][file] = (model, faults)
    return Shapes(singles, kinds, faulty)
