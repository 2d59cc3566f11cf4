"""The settings: name, default and meaning of each. The only place that reads the environment."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from triage.logic.choose_engine import ENGINE_NAMES
from triage.values.errors import InputError, Problem

SETTINGS: tuple[tuple[str, str, str], ...] = (
    (
        "BARRELWISE_DATABASE",
        "sqlite:///barrelwise.db",
        "Where records and tickets are kept: a SQLAlchemy URL",
    ),
    (
        "BARRELWISE_RULEBOOK",
        "",
        "The folder of the rulebook; empty: `rules` in the working folder, or the one beside this program",
    ),
    (
        "BARRELWISE_ENGINE",
        "checked",
        "The inference engine: `checked` (durable_rules, each answer verified by plain), `durable`, `plain`",
    ),
    ("BARRELWISE_HOST", "127.0.0.1", "The address `serve` listens on; without any token, loopback only"),
    ("BARRELWISE_PORT", "8000", "The port `serve` listens on"),
    (
        "BARRELWISE_WORKERS",
        "",
        "How many processes `serve` answers with, 1 to 64; empty: one a core, at most 4. "
        "An in-memory database has one",
    ),
)
"""(name, default, help) of every setting."""

DEFAULT_WORKERS = 4
MOST_WORKERS = 64


@dataclass(frozen=True, slots=True)
class Settings:
    database: str
    rulebook: Path
    engine: str
    host: str
    port: int
    workers: int


def read_settings(environment: Mapping[str, str] | None = None) -> Settings:
    """The settings as the environment gives them. Raises InputError naming each that is wrong."""
    given = os.environ if environment is None else environment
    values = {name: given.get(name, "").strip() or default for name, default, _ in SETTINGS}
    problems = []
    if values["BARRELWISE_ENGINE"] not in ENGINE_NAMES:
        wanted = f"choose one of {', '.join(ENGINE_NAMES)}"
        problems.append(Problem(f'BARRELWISE_ENGINE is "{values["BARRELWISE_ENGINE"]}"; {wanted}'))
    port = values["BARRELWISE_PORT"]
    if not (port.isascii() and port.isdigit() and 1 <= int(port) <= 65535):
        problems.append(Problem(f'BARRELWISE_PORT is "{port}"; a port is a number from 1 to 65535'))
    workers = values["BARRELWISE_WORKERS"] or str(min(_cores(), DEFAULT_WORKERS))
    if not (workers.isascii() and workers.isdigit() and 1 <= int(workers) <= MOST_WORKERS):
        wanted = f"give a number of processes from 1 to {MOST_WORKERS}"
        problems.append(Problem(f'BARRELWISE_WORKERS is "{workers}"; {wanted}'))
    if problems:
        raise InputError(problems)
    folder = values["BARRELWISE_RULEBOOK"]
    return Settings(
        database=values["BARRELWISE_DATABASE"],
        rulebook=Path(folder) if folder else default_rulebook(),
        engine=values["BARRELWISE_ENGINE"],
        host=values["BARRELWISE_HOST"],
        port=int(port),
        workers=int(workers),
    )


def _cores() -> int:
    """Those that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def default_rulebook() -> Path:
    """`rules` in the working folder where it holds a rulebook, else the one beside this package."""
    here = Path("rules")
    return here if (here / "rulebook.yml").is_file() else Path(__file__).resolve().parent.parent / "rules"
