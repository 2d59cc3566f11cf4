"""The process that feeds one door: `python -m tests.fuzz.child MODULE DOOR INPUTS`, by `nightly`."""

from __future__ import annotations

import os
import resource
import signal
import sys
import time
import traceback
from hashlib import sha256
from importlib import import_module
from pathlib import Path
from random import Random
from types import FrameType
from typing import NoReturn

import atheris  # type: ignore[import-not-found, unused-ignore]

with atheris.instrument_imports(include=["triage", "api"]):
    import_module(sys.argv[1])  # only what this door needs: the instrumentation takes its time
from tests.fuzz.door import DOORS, MOST_BYTES, Opened
from tests.fuzz.kept import KEPT, counts, store_counts
from tests.fuzz.mutation import mutated

MOST_SECONDS = 1.0
"""Of processor time for one input."""

MOST_MEMORY = 300 * 1024
"""KiB by which one input may swell the process."""

ROOM = 1024 * 1024 * 1024
"""Bytes beyond what is in use after which an allocation fails, so that no input harms the machine."""

FROM_SEED = 0.5
"""Share of inputs made from a seed and not from what reached something new, most of which is refused."""


class TooLong(BaseException):
    """Past MOST_SECONDS; no `except Exception` on the way holds it up."""


def too_long(_number: int, _frame: FrameType | None) -> NoReturn:
    raise TooLong(f"more than {MOST_SECONDS} s of processor time")


class Feeder:
    def __init__(self, name: str, opened: Opened) -> None:
        self.name, self.opened = name, opened
        self.counts = counts(name)
        self.stored_at = 0.0
        self.corpus = KEPT / "corpus" / name
        self.seeded = self._seed()

    def _seed(self) -> int:
        """Puts the seeds and findings among the inputs to begin with; their number."""
        self.corpus.mkdir(parents=True, exist_ok=True)
        kept = [path.read_bytes() for path in DOORS[self.name].kept()]
        first = {sha256(data).hexdigest()[:20]: data for data in (*self.opened.seeds, *kept)}
        for digest, data in first.items():
            (self.corpus / f"seed-{digest}").write_bytes(data)
        return len(first)

    def feed(self, data: bytes) -> None:
        self.counts["inputs"] += 1
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
        try:
            verdict = self.opened.judge(data)
            signal.setitimer(signal.ITIMER_PROF, 0)
            self.counts[verdict.value] += 1
        except (Exception, TooLong) as error:
            signal.setitimer(signal.ITIMER_PROF, 0)
            self.unexpected(data, kind_of(error), traceback.format_exc())
        swollen = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
        if swollen > MOST_MEMORY:
            self.unexpected(data, f"swells-by-{swollen // 1024}-MiB", "")
        if time.monotonic() > self.stored_at + 1:
            self.store()

    def unexpected(self, data: bytes, kind: str, told: str) -> None:
        self.counts["unexpected"] += 1
        path = KEPT / "findings" / self.name / kind
        if not path.exists() or len(data) < path.stat().st_size:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
            log = KEPT / "log" / f"{self.name}-{kind}.txt"
            log.write_text(told, errors="backslashreplace")

    def store(self) -> None:
        self.stored_at = time.monotonic()
        self.counts["new"] = sum(1 for _ in self.corpus.iterdir()) - self.seeded
        store_counts(self.name, self.counts)
        used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (used + ROOM, resource.RLIM_INFINITY))


def kind_of(error: BaseException) -> str:
    """One name for all that fail alike: the error and the last line of ours that it passed."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if "/triage/" in frame.filename or "/api/" in frame.filename]
    last = (ours or frames)[-1]
    return f"{type(error).__name__}-{Path(last.filename).stem}-{last.name.strip('<>')}-{last.lineno}"


def main(name: str, inputs: int) -> None:
    signal.signal(signal.SIGPROF, too_long)
    with DOORS[name].open() as opened:
        feeder = Feeder(name, opened)
        last = feeder.counts["inputs"] + inputs
        random = Random(feeder.counts["inputs"])

        def one(data: bytes) -> None:
            feeder.feed(data)
            if feeder.counts["inputs"] >= last:
                feeder.store()
                os._exit(0)

        def mutate(data: bytes, most: int, _seed: int) -> bytes:
            if random.random() < 0.1:
                return bytes(atheris.Mutate(data, most))
            if not data or random.random() < FROM_SEED:
                data = random.choice(opened.seeds)
            return mutated(data, random, opened.words, most, opened.still)

        flags = [
            "-len_control=0",
            f"-max_len={MOST_BYTES}",
            "-timeout=120",
            "-rss_limit_mb=0",
            "-verbosity=0",
        ]
        artifacts = f"-artifact_prefix={KEPT}/findings/{name}/"
        atheris.Setup([sys.argv[0], *flags, artifacts, str(feeder.corpus)], one, custom_mutator=mutate)
        atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv[2], int(sys.argv[3]))
