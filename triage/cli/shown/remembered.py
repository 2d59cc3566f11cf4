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
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from sysconfig import get_path
from tempfile import NamedTemporaryFile
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

import triage
from triage.config import cache_folder

if TYPE_CHECKING:  # what is remembered of it may need none of the rulebook's classes
    from triage.rulebook.model import Rulebook

KEPT = 16
"""How much is remembered, what was made last."""
DIGEST_BYTES = 32
PROGRAM = Path(triage.__file__).parent
READING = [PROGRAM / name for name in ("values", "logic", "rulebook")]
"""The packages that make a rulebook of files."""

T = TypeVar("T")
Read: TypeAlias = "tuple[Rulebook, Mapping[str, object]]"


def read_remembered(folder: Path) -> Read:
    """As `read_with_files`. Raises RulebookError with every problem found."""

    def read() -> Read:
        from triage.rulebook.reading.reader import read_with_files  # what is remembered needs no reader

        return read_with_files(folder)

    return remembered(folder, READING, "", read)


def remembered(folder: Path, code: list[Path], beside: str, make: Callable[[], T]) -> T:
    """What `make` gives of a folder, by the code in these folders and what is said `beside` it. Raises as it
    does; a folder that changes meanwhile is not remembered."""
    place = _place(folder, code, beside)
    if place is not None:
        with suppress(LookupError):
            known: T = _known(place)
            return known
    found = make()
    if place is not None and place == _place(folder, code, beside):
        with suppress(OSError):
            _remember(place, pickle.dumps(found, pickle.HIGHEST_PROTOCOL))
    return found


def _known(place: Path) -> Any:
    """Raises LookupError where nothing whole is there."""
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


def _place(folder: Path, code: list[Path], beside: str) -> Path | None:
    """Where this content is remembered; None where it cannot be, or others might write there."""
    cache = cache_folder()
    try:
        if cache is None or not _is_own(cache):
            return None
        digest = hashlib.sha256(repr((sys.version, _libraries(), beside)).encode())
        for path in (*_files(code), *sorted(folder.rglob("*"))):
            mode = path.lstat().st_mode
            name = os.path.relpath(path, folder)
            digest.update(f"{name}\0{stat.S_IFMT(mode)}\0".encode(errors="surrogateescape"))
            if stat.S_ISREG(mode):
                with path.open("rb") as content:
                    digest.update(hashlib.file_digest(content, "sha256").digest())
            elif not stat.S_ISDIR(mode):
                return None
    except OSError:
        return None
    return cache / digest.hexdigest()


def _libraries() -> list[str]:
    """The libraries and their versions, as installers name the folders that say so."""
    return sorted(path.name for path in Path(get_path("purelib")).glob("*.dist-info"))


def _files(code: list[Path]) -> Iterator[Path]:
    for package in code:
        yield from (path for path in sorted(package.rglob("*")) if path.suffix in (".py", ".yml"))


def _is_own(cache: Path) -> bool:
    cache.mkdir(mode=0o700, parents=True, exist_ok=True)
    found = cache.stat()
    return found.st_uid == os.geteuid() and not found.st_mode & 0o022


def _remember(place: Path, content: bytes) -> None:
    """Whole or not at all; what was remembered longest ago is forgotten."""
    with NamedTemporaryFile(dir=place.parent, delete=False) as written:
        written.write(hashlib.sha256(content).digest() + content)
    Path(written.name).replace(place)
    kept = sorted(place.parent.iterdir(), key=lambda each: each.stat().st_mtime, reverse=True)
    for old in kept[KEPT:]:
        old.unlink(missing_ok=True)
