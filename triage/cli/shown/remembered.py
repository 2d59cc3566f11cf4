"""What was made of a folder of rules before: to read YAML takes a good part of a short command's time, and to
decide a thousand reports all of it.

Remembered is what was made without a fault, by a digest of all that stands in the folder and of the code that
made it. It lies pickled where this user alone can write, as compiled code does; what is odd is made anew.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import stat
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path
from sysconfig import get_path
from tempfile import NamedTemporaryFile
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

import triage
from triage.config import cache_folder

if TYPE_CHECKING:  # what is remembered of it may need none of the rulebook's classes
    from triage.rulebook.model import Rulebook

KEPT = 32
"""How much is remembered, what was made last."""
DIGEST_BYTES = 32
PROGRAM = Path(triage.__file__).parent
READING = tuple(PROGRAM / name for name in ("values", "logic", "rulebook"))
"""The packages that make a rulebook of files."""

T = TypeVar("T")
Code: TypeAlias = tuple[Path, ...]
Read: TypeAlias = "tuple[Rulebook, Mapping[str, object]]"


def read_remembered(folder: Path) -> Read:
    """As `read_with_files`. Raises RulebookError with every problem found."""

    def read() -> Read:
        from triage.rulebook.reading.parsed import ParsedFiles  # what is remembered needs no reader
        from triage.rulebook.reading.reader import read_with_files

        place = _place(None, READING, f"parsed, {folder.absolute()}")
        known: Mapping[str, object] = {}
        with suppress(LookupError):
            known = _known(place)
        parsed = ParsedFiles(known)
        try:
            return read_with_files(folder, parsed.read)
        finally:
            if parsed.seen.keys() != known.keys():
                _keep(place, parsed.seen)

    return remembered(folder, READING, "", read)


def remembered(folder: Path | None, code: Code, beside: str | Callable[[], str], make: Callable[[], T]) -> T:
    """What `make` gives of a folder, by the code in these folders and what is said `beside` it. Raises as it
    does; where one of them changes meanwhile nothing is remembered. Without a folder, it is made of what is
    said `beside` alone."""
    place = _place(folder, code, beside)
    with suppress(LookupError):
        known: T = _known(place)
        return known
    found = make()
    if place == _place(folder, code, beside):
        _keep(place, found)
    return found


def _known(place: Path | None) -> Any:
    """Raises LookupError where nothing whole is there."""
    if place is None:
        raise LookupError
    try:
        kept = place.read_bytes()
    except OSError:
        raise LookupError from None
    content = kept[DIGEST_BYTES:]
    if hashlib.sha256(content).digest() != kept[:DIGEST_BYTES]:
        raise LookupError
    try:
        return pickle.loads(content)
    except Exception:  # a library has other classes now
        raise LookupError from None


def _place(folder: Path | None, code: Code, beside: str | Callable[[], str]) -> Path | None:
    """Where this content is remembered; None where it cannot be, or others might write there."""
    kept_in = cache_folder()
    try:
        if kept_in is None or not _is_own(kept_in):
            return None
        said = beside if isinstance(beside, str) else beside()
        digest = hashlib.sha256(repr((_made_by(code), said)).encode(errors="surrogateescape"))
        if folder is not None:
            _take(digest, sorted(folder.rglob("*")), folder)
    except OSError:
        return None
    return kept_in / digest.hexdigest()


@cache
def _made_by(code: Code) -> str:
    """A digest of Python, the libraries, and the code in these folders. Raises OSError."""
    digest = hashlib.sha256(repr((sys.version, _libraries())).encode())
    for package in code:
        _take(digest, [p for p in sorted(package.rglob("*")) if p.suffix in (".py", ".yml")], PROGRAM)
    return digest.hexdigest()


def _take(digest: hashlib._Hash, paths: list[Path], folder: Path) -> None:
    """Adds each file's name and content. Raises OSError for what is neither file nor folder."""
    for path in paths:
        mode = path.lstat().st_mode
        name = os.path.relpath(path, folder)
        digest.update(f"{name}\0{stat.S_IFMT(mode)}\0".encode(errors="surrogateescape"))
        if stat.S_ISREG(mode):
            with path.open("rb") as content:
                digest.update(hashlib.file_digest(content, "sha256").digest())
        elif not stat.S_ISDIR(mode):
            raise OSError(f"{path} is neither file nor folder")


def _libraries() -> list[str]:
    """The libraries and their versions, as installers name the folders that say so."""
    return sorted(path.name for path in Path(get_path("purelib")).glob("*.dist-info"))


def _is_own(cache: Path) -> bool:
    cache.mkdir(mode=0o700, parents=True, exist_ok=True)
    found = cache.stat()
    return found.st_uid == os.geteuid() and not found.st_mode & 0o022


def _keep(place: Path | None, found: object) -> None:
    """Whole or not at all; what was remembered longest ago is forgotten."""
    if place is not None:
        with suppress(OSError):
            _remember(place, pickle.dumps(found, pickle.HIGHEST_PROTOCOL))


def _remember(place: Path, content: bytes) -> None:
    with NamedTemporaryFile(dir=place.parent, delete=False) as written:
        written.write(hashlib.sha256(content).digest() + content)
    Path(written.name).replace(place)
    kept = sorted(place.parent.iterdir(), key=lambda each: each.stat().st_mtime, reverse=True)
    for old in kept[KEPT:]:
        old.unlink(missing_ok=True)
