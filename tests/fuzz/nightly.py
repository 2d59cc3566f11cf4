"""The long run: every door in turn, guided by coverage (atheris), going on after what it finds.

    sh tests/run --fuzz                     all doors, ten million inputs; a night
    sh tests/run --fuzz api pages           these doors
    sh tests/run --fuzz api --inputs 5000   so many inputs in all, in place of a night's

It takes the extra `fuzz`. Counts, inputs that reach something new, and findings are kept under `var/fuzz` (or
BARRELWISE_FUZZ), so that a run that was stopped is taken up again. Each door runs in a process of its own. An
input that takes more than MOST_SECONDS of processor time or MOST_MEMORY, or raises what is no error of the
door's, is unexpected; the first of each kind is kept as `findings/DOOR/KIND`. Once it is fixed, it goes to
`tests/fuzz/corpus/DOOR/` under a name that says what it was. Ends with 1 where anything was unexpected.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections import Counter

from tests import ROOT
from tests.fuzz.doors import DOORS
from tests.fuzz.kept import KEPT, counts, store_counts

COUNTED = ("inputs", "accepted", "refused", "unexpected", "new")
ROUNDS = (0.05, 1.0)
"""Shares of a night after which the next door has its turn, so that all have run early on."""

MOST_CRASHES = 20
"""Processes of a door that may die before the rest of the round is left out."""


def run_door(door: str, until: int) -> None:
    """Goes on until the door has had that many inputs; a process that dies is a finding."""
    log = KEPT / "log" / f"{door}.txt"
    for folder in (log.parent, KEPT / "findings" / door):
        folder.mkdir(parents=True, exist_ok=True)
    module = DOORS[door].open.__wrapped__.__module__  # type: ignore[attr-defined]
    for _ in range(MOST_CRASHES):
        left = until - counts(door)["inputs"]
        if left <= 0:
            return
        command = [sys.executable, "-m", "tests.fuzz.child", module, door, str(left)]
        with log.open("w") as out:
            code = subprocess.run(command, cwd=ROOT, stdout=out, stderr=out, check=False).returncode
        if code == 2:
            raise SystemExit(log.read_text()[-2000:])
        if code != 0:
            store_counts(door, counts(door) + Counter(unexpected=1))


def table() -> str:
    """Counts by door, and of all doors."""
    rows = {door: found for door in DOORS if (found := counts(door))["inputs"]}
    rows["all doors"] = sum(rows.values(), Counter())
    lines = [f"{'door':12}" + "".join(f"{name:>12}" for name in COUNTED)]
    lines += [f"{door:12}" + "".join(f"{row[name]:>12,}" for name in COUNTED) for door, row in rows.items()]
    found = sorted(path.relative_to(KEPT).as_posix() for path in KEPT.glob("findings/*/*"))
    return "\n".join([*lines, *found])


def main() -> None:
    parser = argparse.ArgumentParser(prog="tests/run --fuzz")
    parser.add_argument("doors", nargs="*", metavar="DOOR", help=f"of {', '.join(DOORS)}; all, if left out")
    parser.add_argument("--inputs", type=int, help="in all; a night's, if left out")
    parser.add_argument("--counts", action="store_true", help="print the counts so far and do nothing")
    asked = parser.parse_args()
    unknown = set(asked.doors) - DOORS.keys()
    if unknown:
        parser.error(f"no door {', '.join(sorted(unknown))}; doors are {', '.join(DOORS)}")
    chosen = {name: DOORS[name].nightly for name in asked.doors or DOORS}
    share = 1 if asked.inputs is None else asked.inputs / sum(chosen.values())
    for part in () if asked.counts else ROUNDS:
        for name, night in chosen.items():
            run_door(name, round(night * share * part))
            print(f"{name}: {dict(counts(name))}", flush=True)
    print(table())
    sys.exit(any(counts(name)["unexpected"] for name in chosen))


if __name__ == "__main__":
    main()
