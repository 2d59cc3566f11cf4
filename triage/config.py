"""The settings: name, default and meaning of each. The only place that reads the environment."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.util import find_spec
from ipaddress import ip_address
from pathlib import Path
from typing import Literal, TypeAlias, cast, get_args
from urllib.parse import urlsplit

from triage.logic.engine_checked import ENGINE_NAMES
from triage.values.errors import InputError, Problem

TwoPeople: TypeAlias = Literal["auto", "yes", "no"]
"""Whether publishing a rulebook takes a second person; auto: where there is one."""

LOGGED = ("requests", "faults")

SETTINGS: tuple[tuple[str, str, str], ...] = (
    (
        "BARRELWISE_DATABASE",
        "sqlite:///barrelwise.db",
        "Where records and tickets are kept: a SQLAlchemy URL",
    ),
    (
        "BARRELWISE_RULEBOOK",
        "",
        "The folder of the rulebook; empty: `rules` in the working folder, or the one that came along",
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
    ("BARRELWISE_CONNECTIONS", "4000", "How many connections a process keeps open; more wait to be accepted"),
    ("BARRELWISE_REQUEST_SECONDS", "120", "A process in which a request takes longer is replaced"),
    ("BARRELWISE_GRACE_SECONDS", "30", "How long a process that is told to stop may finish what runs"),
    (
        "BARRELWISE_WORKER_MB",
        "2000",
        "A process that holds more memory is replaced once it has finished; 0: never",
    ),
    (
        "BARRELWISE_LOG",
        "requests",
        "What `serve` logs on standard error, one JSON object a line: `faults` alone, or all `requests` too",
    ),
    ("BARRELWISE_SLOW_MS", "500", "A query of the database that takes so long is logged; 0: never"),
    (
        "BARRELWISE_TRUSTED_PROXY",
        "",
        "The address of the proxy in front, whose `X-Forwarded-For`, `-Proto` and `-Host` are believed; "
        "empty: nobody's, `*`: whoever connects",
    ),
    (
        "BARRELWISE_URL",
        "",
        "The address that people reach the pages by, such as https://desk.example.com; "
        "a path in it is the one that a proxy serves this program under",
    ),
    (
        "BARRELWISE_MAIL",
        "",
        "Where e-mail goes: smtp://[USER:PASSWORD@]HOST[:PORT], smtps://…, or file:///FOLDER; empty: nowhere",
    ),
    ("BARRELWISE_MAIL_FROM", "", "The address that e-mail comes from"),
    (
        "BARRELWISE_TWO_PEOPLE",
        "auto",
        "Whether a rulebook goes live only with the yes of somebody besides who proposed it: `yes`, `no`, or "
        "`auto`, where more than one ops token is valid",
    ),
    (
        "BARRELWISE_OPENID_ISSUER",
        "",
        "An OpenID Connect provider to sign in by, such as https://id.example.com",
    ),
    ("BARRELWISE_OPENID_CLIENT", "", "What the provider knows this program as"),
    ("BARRELWISE_OPENID_SECRET", "", "The secret that the provider gave it"),
    ("BARRELWISE_PHOTOS", "", "The folder that photos of tickets are kept in; empty: the database"),
)
"""(name, default, help) of every setting."""

DEFAULT_WORKERS = 4
MOST_WORKERS = 64
NUMBERS = {
    "BARRELWISE_PORT": (1, 65535, "a port"),
    "BARRELWISE_WORKERS": (1, MOST_WORKERS, "a number of processes"),
    "BARRELWISE_CONNECTIONS": (100, 100_000, "a number of connections"),
    "BARRELWISE_REQUEST_SECONDS": (5, 3600, "a number of seconds"),
    "BARRELWISE_GRACE_SECONDS": (1, 600, "a number of seconds"),
    "BARRELWISE_WORKER_MB": (0, 1_000_000, "a number of megabytes"),
    "BARRELWISE_SLOW_MS": (0, 600_000, "a number of milliseconds"),
}
"""The least and most of each setting that is a number, and what it is."""


@dataclass(frozen=True, slots=True)
class OpenId:
    """An OpenID Connect provider, what it knows this program as, and the pages' address it leads back to."""

    issuer: str
    client: str
    secret: str = field(repr=False)
    url: str


@dataclass(frozen=True, slots=True)
class ServerSettings:
    """How `serve` answers: what one process may take (connections at once, seconds, megabytes of memory),

    what it logs, the proxy in front of it (its address and the path it serves this program under, empty for
    none), and the provider that people may sign in by.
    """

    connections: int = 4000
    request_seconds: int = 120
    grace_seconds: int = 30
    worker_mb: int = 2000
    log_requests: bool = True
    slow_ms: int = 500
    trusted_proxy: str = ""
    path_prefix: str = ""
    openid: OpenId | None = None


DEFAULT_SERVER = ServerSettings()


@dataclass(frozen=True, slots=True)
class Outgoing:
    """How the outside is reached and reaches us: the pages' address, a URL for e-mail, and its sender."""

    url: str = ""
    mail: str = ""
    sender: str = ""


@dataclass(frozen=True, slots=True)
class Settings:
    database: str
    rulebook: Path
    engine: str
    host: str
    port: int
    workers: int
    server: ServerSettings
    outgoing: Outgoing
    two_people: TwoPeople = "auto"
    photos: Path | None = None


def read_settings(environment: Mapping[str, str] | None = None) -> Settings:
    """The settings as the environment gives them. Raises InputError naming each that is wrong."""
    given = os.environ if environment is None else environment
    values = {name: given.get(name, "").strip() or default for name, default, _ in SETTINGS}
    problems = []
    if values["BARRELWISE_ENGINE"] not in ENGINE_NAMES:
        wanted = f"choose one of {', '.join(ENGINE_NAMES)}"
        problems.append(Problem(f'BARRELWISE_ENGINE is "{values["BARRELWISE_ENGINE"]}"; {wanted}'))
    two_people = values["BARRELWISE_TWO_PEOPLE"]
    if two_people not in get_args(TwoPeople):
        problems.append(Problem(f'BARRELWISE_TWO_PEOPLE is "{two_people}"; choose one of yes, no, auto'))
    logged = values["BARRELWISE_LOG"]
    if logged not in LOGGED:
        problems.append(Problem(f'BARRELWISE_LOG is "{logged[:60]}"; choose one of {", ".join(LOGGED)}'))
    values["BARRELWISE_WORKERS"] = values["BARRELWISE_WORKERS"] or str(min(_cores(), DEFAULT_WORKERS))
    numbers = {}
    for name, (least, most, what) in NUMBERS.items():
        given_as = values[name]
        if given_as.isascii() and given_as.isdigit() and least <= int(given_as[:9]) <= most:
            numbers[name] = int(given_as)
        else:
            problems.append(Problem(f'{name} is "{given_as}"; give {what} from {least} to {most}'))
    url = values["BARRELWISE_URL"].rstrip("/")
    outgoing = Outgoing(url, values["BARRELWISE_MAIL"], values["BARRELWISE_MAIL_FROM"])
    issuer, client, secret = (values[f"BARRELWISE_OPENID_{name}"] for name in ("ISSUER", "CLIENT", "SECRET"))
    openid = OpenId(issuer, client, secret, url)
    problems += _problems_of(outgoing) + _wrong_proxy(values["BARRELWISE_TRUSTED_PROXY"])
    problems += _wrong_provider(openid) if openid.issuer else []
    if problems:
        raise InputError(problems)
    folder, photos = values["BARRELWISE_RULEBOOK"], values["BARRELWISE_PHOTOS"]
    return Settings(
        database=values["BARRELWISE_DATABASE"],
        rulebook=Path(folder) if folder else default_rulebook(),
        engine=values["BARRELWISE_ENGINE"],
        host=values["BARRELWISE_HOST"],
        port=numbers["BARRELWISE_PORT"],
        workers=numbers["BARRELWISE_WORKERS"],
        server=ServerSettings(
            connections=numbers["BARRELWISE_CONNECTIONS"],
            request_seconds=numbers["BARRELWISE_REQUEST_SECONDS"],
            grace_seconds=numbers["BARRELWISE_GRACE_SECONDS"],
            worker_mb=numbers["BARRELWISE_WORKER_MB"],
            log_requests=values["BARRELWISE_LOG"] == "requests",
            slow_ms=numbers["BARRELWISE_SLOW_MS"],
            trusted_proxy=values["BARRELWISE_TRUSTED_PROXY"],
            path_prefix=urlsplit(outgoing.url).path,
            openid=openid if openid.issuer else None,
        ),
        outgoing=outgoing,
        two_people=cast(TwoPeople, two_people),
        photos=Path(photos) if photos else None,
    )


def _problems_of(outgoing: Outgoing) -> list[Problem]:
    """What keeps e-mail from being sent. No value is shown: a password may stand in it."""
    problems = []
    if outgoing.url and not re.fullmatch(r"https?://[\w.\[\]:-]+(/[\w./-]*)?", outgoing.url, re.ASCII):
        problems.append(Problem("BARRELWISE_URL is no address; write one such as https://desk.example.com"))
    if outgoing.mail:
        if not re.fullmatch(r"file:///.+|smtps?://([^@/\s]+@)?[\w.\[\]:-]+/?", outgoing.mail, re.ASCII):
            wanted = "smtp://HOST:PORT, smtps://HOST:PORT or file:///FOLDER"
            problems.append(Problem(f"BARRELWISE_MAIL cannot be used; write {wanted}"))
        if not re.fullmatch(r"[^@\s<>]+@[\w.-]+", outgoing.sender, re.ASCII):
            problems.append(Problem("BARRELWISE_MAIL_FROM is no address; e-mail has to come from one"))
        if not outgoing.url:
            problems.append(Problem("BARRELWISE_URL is needed for e-mail: links in it lead there"))
    return problems


def _wrong_provider(openid: OpenId) -> list[Problem]:
    """A provider elsewhere is asked over TLS only; what it says decides who somebody is."""
    problems = []
    if not re.match(r"https://|http://(127\.0\.0\.1|localhost)[:/]", openid.issuer):
        problems.append(Problem("BARRELWISE_OPENID_ISSUER is no address that begins with https://"))
    if not (openid.client and openid.secret):
        problems.append(
            Problem("a provider needs BARRELWISE_OPENID_CLIENT and BARRELWISE_OPENID_SECRET; it gives both")
        )
    if find_spec("authlib") is None or find_spec("requests") is None:
        problems.append(Problem("a provider takes the extra `openid`; install barrelwise[openid]"))
    if not openid.url:
        problems.append(Problem("BARRELWISE_URL is needed for a provider: it leads people back there"))
    return problems


def _wrong_proxy(address: str) -> list[Problem]:
    try:
        ip_address(address if address not in ("", "*") else "127.0.0.1")
    except ValueError:
        wanted = "give one IP address, `*`, or nothing"
        return [Problem(f'BARRELWISE_TRUSTED_PROXY is "{address[:60]}"; {wanted}')]
    return []


def cache_folder() -> Path | None:
    """Where this user's programs keep what can be made again; None where no home is known."""
    try:
        return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "barrelwise"
    except RuntimeError:
        return None


COUNTS = "PROMETHEUS_MULTIPROC_DIR"
"""Where the processes of a server count together, as prometheus_client looks for it when it is imported."""


def count_in(folder: str | None) -> None:
    """From now on, in what is imported and started after this; None: each process for itself."""
    if folder is None:
        os.environ.pop(COUNTS, None)
    else:
        os.environ[COUNTS] = folder


def counts_together() -> bool:
    return COUNTS in os.environ


def _cores() -> int:
    """Those that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


INSTALLED_RULES = Path(__file__).resolve().parent / "default_rules"
"""Where a wheel has the default rulebook, until the next version. A checkout has it beside the packages."""


def default_rulebook() -> Path:
    """`rules` in the working folder where it holds a rulebook, else the one that came with this program."""
    for folder in (Path("rules"), INSTALLED_RULES):
        if (folder / "rulebook.yml").is_file():
            return folder
    return INSTALLED_RULES.parent.parent / "rules"
