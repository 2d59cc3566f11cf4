"""The lint on rulebooks of up to 1,000 rules: reading the folder, and finding.

Run by hand: `python -m tests.bench.lint`. Rules are random conjunctions over sixty facts of every type, each
kind in the mix of the default rulebook; the findings are counted so that one sees the lint did work.
"""

from __future__ import annotations

import random
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from time import process_time

from ruamel.yaml import YAML

from tests.triage.builders import cause, check, evidence, fact, head, minimal_files, policy
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.lint.lint import lint

SIZES = (100, 300, 1000)
_CHOICES = ("red", "green", "blue", "gray")
_CAUSES = [f"cause_{number}" for number in range(40)]


@dataclass(frozen=True, slots=True)
class LintTime:
    """Seconds of processor time on one core; what else runs on the machine is not counted."""

    rules: int
    reading: float
    finding: float
    findings: int


def lint_times(seed: int = 2026) -> Iterator[LintTime]:
    for rules in SIZES:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            write(folder, random_files(rules, random.Random(seed)))
            start = process_time()
            rulebook = read_rulebook(folder)
            read = process_time()
            found = lint(rulebook)
            yield LintTime(rules, read - start, process_time() - read, len(found))


def random_files(rules: int, chance: random.Random) -> dict[str, object]:
    """A valid rulebook with this many rules and checks, as plain data."""
    files = minimal_files()
    for number in range(60):
        files[f"facts/fact_{number}.yml"] = _fact(number)
    for one in _CAUSES:
        files[f"causes/{one}.yml"] = cause(one)
    shares = {one: chance.randint(1, 30) for one in _CAUSES} | {"other": 12}
    files["symptoms/not_freezing.yml"] = {**files["symptoms/not_freezing.yml"], "shares": shares}  # type: ignore[dict-item]
    for number in range(rules):
        kind = chance.choices(("evidence", "derive", "cautions", "policy", "checks"), (60, 8, 14, 8, 30))[0]
        name = f"rule-{number}"
        files[f"{kind}/{name}.yml"] = _rule(kind, name, chance)
    return files


def _fact(number: int) -> dict[str, object]:
    match number % 4:
        case 0:
            return fact(f"fact_{number}", "number", range="[0..100]")
        case 1:
            return fact(f"fact_{number}", "choice", choices={one: one for one in _CHOICES})
        case 2:
            return fact(f"fact_{number}", "flag")
        case _:
            return fact(f"fact_{number}", "date")


def _rule(kind: str, name: str, chance: random.Random) -> dict[str, object]:
    when: dict[str, object] = {
        f"fact_{number}": _test(number, chance) for number in chance.sample(range(60), chance.randint(1, 4))
    }
    if chance.random() < 0.2:
        branches = [{f"fact_{n}": _test(n, chance)} for n in chance.sample(range(60), 3)]
        when[chance.choice(("any_of", "none_of"))] = branches
    silent: dict[str, object] = {}
    match kind:
        case "evidence":
            seen = {one: round(chance.uniform(0.05, 0.9), 2) for one in chance.sample(_CAUSES, 3)}
            return evidence(name, when, silent, silent, {**seen, "others": 0.2})
        case "derive":
            return head(name, when, silent, silent, then={"set": {"filter_neglected": True}})
        case "cautions":
            return head(name, when, silent, silent, then={"text": "Keep clear.", "forbids": ["rinse-filter"]})
        case "policy":
            outcome = chance.choice(("dispatch", "approve", "hold", "swap", "fix_in_store"))
            return policy(name, when, silent, silent, outcome, chance.randint(0, 1000), "By the rule.")
        case _:
            return check(name, when, dict.fromkeys(chance.sample(_CAUSES, 2), 0.5))


def _test(number: int, chance: random.Random) -> object:
    match number % 4:
        case 0:
            low = chance.randint(0, 90)
            return chance.choice((f"< {low + 5}", f">= {low}", f"[{low}..{low + 10}]"))
        case 1:
            one, other = chance.sample(_CHOICES, 2)
            return chance.choice((f'"{one}","{other}"', f'not("{one}")'))
        case 2:
            return chance.random() < 0.5
        case _:
            return f'{chance.choice(("<", ">="))} @"2026-{chance.randint(1, 12):02d}-01"'


def write(folder: Path, files: dict[str, object]) -> None:
    """The files of a rulebook as YAML."""
    yaml = YAML(typ="safe", pure=True)
    yaml.width = 1000
    yaml.representer.ignore_aliases = lambda _: True
    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("w", encoding="utf-8") as stream:
            yaml.dump(data, stream)


def main() -> None:
    print(f"{'rules':>6} {'reading':>9} {'finding':>9} {'together':>9}  findings")
    for time in lint_times():
        both = time.reading + time.finding
        print(f"{time.rules:>6} {time.reading:>8.2f}s {time.finding:>8.2f}s {both:>8.2f}s  {time.findings}")


if __name__ == "__main__":
    main()
