"""The rulebook's folder as texts that are opened, saved and taken out without losing anyone's work.

The files on disk are the source: whoever saves says which text was opened (its SHA-256), and a file that was
changed meanwhile is left as it is.
"""

import fcntl
import hashlib
import os
import re
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from triage.rulebook.reading.shapes import KINDS, SINGLES
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.yaml_source import MOST_BYTES

_NAME = re.compile(r"[a-z][a-z0-9_-]{0,63}\.yml", re.ASCII)


@dataclass(frozen=True, slots=True)
class FileText:
    path: str
    text: str
    sha256: str


class ChangedOnDisk(ConflictError):
    """The file is no longer the one that was opened; `now` is what it is (None: it is gone)."""

    def __init__(self, path: str, now: FileText | None) -> None:
        what = "was taken out" if now is None else "was changed on disk"
        super().__init__([Problem(f"the file {what} since it was opened; nothing was saved", file=path)])
        self.now = now


def known_path(path: str) -> str:
    """The path where it is one that a rulebook has: `rates.yml`, `facts/x.yml`. Raises NotFoundError."""
    kind, _, name = path.rpartition("/")
    if path in SINGLES or (kind in KINDS and _NAME.fullmatch(name)):
        return path
    raise NotFoundError(f'"{path[:80]}" is not the path of a rulebook\'s file, such as facts/filter_days.yml')


def as_saved(text: str) -> bytes:
    """The bytes of a text as typed, with LF line ends. Raises InputError where it is too long or no text."""
    try:
        content = text.replace("\r\n", "\n").replace("\r", "\n").encode("utf-8")
    except UnicodeEncodeError:
        raise InputError("the text holds half a character, which no file can hold; take it out") from None
    if len(content) > MOST_BYTES:
        raise InputError(f"the text has {len(content):,} bytes; at most {MOST_BYTES:,} are read")
    return content


class WorkFolder:
    """A rulebook's folder, for reading and saving one file at a time."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def why_read_only(self) -> str | None:
        """Why nothing can be saved here; None where it can."""
        if not self.root.is_dir():
            return f"there is no folder {self.root}"
        return None if os.access(self.root, os.W_OK | os.X_OK) else f"the folder {self.root} is read-only"

    def paths(self) -> tuple[str, ...]:
        """The files a rulebook has, single ones first."""
        found = [name for name in sorted(SINGLES) if (self.root / name).is_file()]
        for kind in KINDS:
            names = sorted(path.name for path in (self.root / kind).glob("*.yml"))
            found += [f"{kind}/{name}" for name in names if _NAME.fullmatch(name)]
        return tuple(found)

    def read(self, path: str) -> FileText:
        """Raises NotFoundError where there is no such file, InputError where it is no text."""
        target = self._target(path)
        try:
            descriptor = os.open(target, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
        except FileNotFoundError:
            raise NotFoundError([Problem("there is no such file", file=path)]) from None
        except OSError as error:
            raise InputError([Problem(f"it cannot be opened ({error.strerror})", file=path)]) from None
        with os.fdopen(descriptor, "rb") as stream:
            if not stat.S_ISREG(os.fstat(descriptor).st_mode):
                raise InputError([Problem("this is not a file", file=path)])
            content = stream.read(MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            raise InputError([Problem(f"the file is larger than {MOST_BYTES:,} bytes", file=path)])
        try:
            text = content.decode("utf-8")
        except UnicodeDecodeError:
            raise InputError([Problem("the file is not UTF-8 text; fix it on disk", file=path)]) from None
        return FileText(path, text, hashlib.sha256(content).hexdigest())

    def save(self, path: str, text: str, opened: str | None) -> FileText:
        """Replaces the file whole. `opened` is the SHA-256 of the text that was opened, None for a new file.

        Raises ChangedOnDisk where the file is another by now, InputError where it cannot be written.
        """
        target, content = self._target(path), as_saved(text)
        with self._alone(path):
            self._refuse_changed(path, opened)
            part = target.with_name(f".{target.name}.{secrets.token_hex(8)}")
            try:
                target.parent.mkdir(exist_ok=True)
                mode = stat.S_IMODE(target.stat().st_mode) if opened is not None else 0o644
                with part.open("xb") as stream:
                    stream.write(content)
                    stream.flush()
                    os.fsync(stream.fileno())
                part.chmod(mode)
                part.replace(target)
            except OSError as error:
                part.unlink(missing_ok=True)
                message = f"the file cannot be written ({error.strerror})"
                raise InputError([Problem(message, file=path)]) from None
        return FileText(path, content.decode("utf-8"), hashlib.sha256(content).hexdigest())

    def delete(self, path: str, opened: str) -> None:
        """Takes the file out where it is still the one that was opened."""
        with self._alone(path):
            self._refuse_changed(path, opened)
            self._target(path).unlink()

    def _target(self, path: str) -> Path:
        target = self.root / known_path(path)
        if target.parent.is_symlink() or target.is_symlink():
            raise InputError([Problem("this is a link; edit what it leads to", file=path)])
        return target

    def _refuse_changed(self, path: str, opened: str | None) -> None:
        try:
            now: FileText | None = self.read(path)
        except NotFoundError:
            now = None
        if (None if now is None else now.sha256) != opened:
            raise ChangedOnDisk(path, now)

    @contextmanager
    def _alone(self, path: str) -> Iterator[None]:
        """One writer at a time, over all server processes on this machine."""
        why = self.why_read_only()
        if why is not None:
            raise InputError([Problem(f"nothing can be saved: {why}", file=path)])
        descriptor = os.open(self.root, os.O_RDONLY | os.O_DIRECTORY)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX)
            yield
        finally:
            os.close(descriptor)
