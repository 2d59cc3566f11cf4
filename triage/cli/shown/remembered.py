"""A rulebook as it was read before: to read YAML takes a good part of a short command's time.

Remembered is what was read from a folder without a fault, by a digest of all that stands in it and of the
code that read it. It lies pickled where this user alone can write, as compiled code does; what is odd is read
anew.
"""

import hashlib
import os
import pickle
import stat
import sys
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from tempfile import NamedTemporaryFile

import triage
from triage.config import cache_folder
from triage.rulebook.model import Rulebook

KEPT = 8
"""How many folders are remembered, those read last."""
DIGEST_BYTES = 32
CODE = [Path(triage.__file__).parent / name for name in ("values", "logic", "rulebook")]
"""The packages that make a rulebook of files."""

Read = tuple[Rulebook, Mapping[str, object]]


def read_remembered(folder: Path) -> Read:
    """As `read_with_files`. Raises RulebookError with every problem found."""
    place = _place(folder)
    known = None if place is None else _known(place)
    if known is not None:
        return known
    from triage.rulebook.reading.reader import read_with_files  # what is remembered needs no reader

    found = read_with_files(folder)
    if place is not None:
        with suppress(OSError):
            _remember(place, pickle.dumps(found, pickle.HIGHEST_PROTOCOL))
    return found


def _known(place: Path) -> Read | None:
    try:
        kept = place.read_bytes()
    except OSError:
        return None
    content = kept[DIGEST_BYTES:]
    if hashlib.sha256(content).digest() != kept[:DIGEST_BYTES]:
        return None
    try:
        known: Read = pickle.loads(content)
    except Exception:  # a library has other classes now
        return None
    return known


def _place(folder: Path) -> Path | None:
    """Where this content is remembered; None where it cannot be, or others might write there."""
    cache = cache_folder()
    try:
        if cache is None or not _is_own(cache):
            return None
        digest = hashlib.sha256(sys.version.encode())
        for path in (*_code(), *sorted(folder.rglob("*"))):
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


def _code() -> Iterator[Path]:
    for package in CODE:
        yield from sorted(package.rglob("*.py"))


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
