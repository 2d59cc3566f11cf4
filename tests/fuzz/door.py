"""What a door is: a function of bytes that says whether they were let in, with inputs that are."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from triage.values.errors import InputError

CORPUS = Path(__file__).parent / "corpus"
"""The findings, `corpus/DOOR/what-it-was`."""

MOST_BYTES = 64 * 1024
"""Of one input."""


class Verdict(Enum):
    ACCEPTED = "accepted"
    REFUSED = "refused"


Judge = Callable[[bytes], Verdict]
"""Raises whatever the door raises besides its own errors, AssertionError for an answer that is none."""


@dataclass(frozen=True, slots=True)
class Opened:
    """`seeds` are let in, `words` are put into them here and there; see `mutated` for `still`."""

    judge: Judge
    seeds: Sequence[bytes]
    words: Sequence[bytes] = ()
    still: Collection[str] = ()


@dataclass(frozen=True, slots=True)
class Door:
    """`nightly` and `everyday` are how many inputs it gets in a whole night and in the everyday run."""

    name: str
    open: Callable[[], AbstractContextManager[Opened]]
    nightly: int
    everyday: int

    def kept(self) -> list[Path]:
        """The findings of this door."""
        return sorted((CORPUS / self.name).glob("*"))


DOORS: dict[str, Door] = {}
"""Filled by `door`, as the modules named in `doors` are imported."""


def door(name: str, nightly: int, everyday: int = 60) -> Callable[[Callable[[], Iterator[Opened]]], Door]:
    """Registers what yields an open door once."""

    def register(opened: Callable[[], Iterator[Opened]]) -> Door:
        DOORS[name] = Door(name, contextmanager(opened), nightly, everyday)
        return DOORS[name]

    return register


def refusing(read: Callable[[bytes], object], *errors: type[Exception]) -> Judge:
    """A judge of a reader: it accepts by coming back, and refuses by InputError or one of `errors`.

    A reader that gives a Verdict itself is taken at its word.
    """

    def judge(data: bytes) -> Verdict:
        try:
            found = read(data)
        except (InputError, *errors) as error:
            assert str(error).strip(), "refused without a word"
            assert len(str(error)) <= 20_000, f"a refusal of {len(str(error)):,} characters"
            return Verdict.REFUSED
        return found if isinstance(found, Verdict) else Verdict.ACCEPTED

    return judge


def text_of(data: bytes) -> str:
    """As a form or a query gives it: what is no UTF-8 replaced."""
    return data.decode("utf-8", "replace")


def let_in(condition: object) -> Verdict:
    return Verdict.ACCEPTED if condition else Verdict.REFUSED


def good(judge: Judge, seeds: Iterable[bytes]) -> list[bytes]:
    """Those that are let in."""
    return [seed for seed in seeds if judge(seed) is Verdict.ACCEPTED]
