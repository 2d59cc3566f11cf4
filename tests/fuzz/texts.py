"""The doors of single texts: JSON, times, numbers, what a clerk says, tests, searches, tokens, paths."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import urlsplit

from api.pages.sign_in import own_path
from tests import RULES
from tests.fuzz.door import Opened, Verdict, door, good, let_in, refusing, text_of
from tests.triage.services import FOGLINE, NOON, OPS, REPORT, running_service
from triage.inputs.heard import hear, match_symptoms
from triage.inputs.machine_search import ListedMachine, find_machines, index_machines
from triage.inputs.spoken import is_dont_know, read_spoken
from triage.logic.unary_tests import UnaryTestError, parse
from triage.logic.unary_text import text_of_test
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.editing.files import WorkFolder, known_path
from triage.schedule.service_hours import minutes_of_day
from triage.service import requests, tickets
from triage.values.errors import InputError
from triage.values.json_text import from_json, read_strict, to_json
from triage.values.money import money_text, parse_money
from triage.values.plain_data import exact_number
from triage.values.time_zones import day_of, moment_of, zone_named
from triage.values.units import read_quantity


@lru_cache(maxsize=1)
def default_rules() -> Rulebook:
    return read_rulebook(RULES)


@door("json", nightly=1_600_000)
def json_text() -> Iterator[Opened]:
    def read(data: bytes) -> None:
        found = read_strict(data)
        assert from_json(to_json(found)) == found

    seeds = [path.read_bytes() for path in sorted((RULES.parent / "demo/reports").glob("*.json"))]
    yield Opened(refusing(read), [*seeds, b"[1.50, -2e3, true, null]"], [b"\\u0041", b"1E+400", b"[" * 300])


@door("times", nightly=1_700_000)
def times() -> Iterator[Opened]:
    def read(data: bytes) -> Verdict:
        """The first that takes it; each of them sees every text."""
        text = text_of(data)
        taken = [_value(kind, text) for kind in (day_of, moment_of, minutes_of_day, zone_named)]
        moment = taken[1]
        if moment is not None:
            for zone in ("America/New_York", "Pacific/Kiritimati", "UTC"):
                assert moment.astimezone(zone_named(zone)) + timedelta(days=366) > moment  # type: ignore
        return let_in(any(each is not None for each in taken))

    seeds = [b"2026-03-02T10:00:00-05:00", b"2026-02-28", b"08:30", b"America/Chicago", b"2026-03-02T10:00Z"]
    yield Opened(refusing(read), seeds, [b"+24:00", b"24:00", b"-00:00:00.000001", b"W53-7", b"Etc/", b"../"])


def _value(read: object, text: str) -> object:
    try:
        return read(text)  # type: ignore[operator]
    except (ValueError, InputError) as error:
        assert str(error).strip()
        return None


@door("numbers", nightly=1_000_000)
def numbers() -> Iterator[Opened]:
    units = (None, "d", "percent", "inch", "degF", "gallon", "min")

    def read(data: bytes) -> Verdict:
        text = text_of(data)
        found = [_value(exact_number, text), _value(lambda said: parse_money(said, "USD"), text)]
        found += [_value(lambda said, unit=unit: read_quantity(said, unit), text) for unit in units]
        if found[1] is not None:
            assert parse_money(money_text(found[1]), "USD") == found[1]  # type: ignore[arg-type]
        assert all(len(f"{each:f}") < 80 for each in found[2:] if each is not None)
        return let_in(any(each is not None for each in found))

    seeds = [b"350.00 USD", b"12 gal", b"-1.5e3", b"72 degF", b"6 in", b"20 degC", b"3 week", b"0.000001"]
    yield Opened(refusing(read), seeds, [b"yotta", b"degC", b"^9", b"/s", b"e28", b" EUR", "½".encode()])


@door("spoken", nightly=600_000)
def spoken() -> Iterator[Opened]:
    facts = list(default_rules().facts.values())

    def read(data: bytes) -> Verdict:
        """The first sign names the fact."""
        fact, said = facts[data[0] % len(facts) if data else 0], text_of(data[1:])
        return let_in(is_dont_know(said) or read_spoken(fact, said, date(2026, 3, 2)) is not None)

    said = ("two weeks ago", "half a gallon", "yesterday", "yes", "6 inches", "72 degrees f", "no idea", "2")
    seeds = [bytes([number]) + text.encode() for number in range(0, len(facts), 3) for text in said]
    words = [b"and a half", b"a dozen", b"last monday", b"9" * 26 + b" days", b"12/99 ", "¾".encode(), b"ago"]
    judge = refusing(read)
    yield Opened(judge, good(judge, seeds), words)


@door("tests", nightly=600_000)
def unary() -> Iterator[Opened]:
    kinds = ("number", "choice", "flag", "date", "time", "text")

    def read(data: bytes) -> None:
        """The first sign names the type. What is read is written so that it reads the same."""
        kind = kinds[data[0] % len(kinds) if data else 0]
        found = parse(text_of(data[1:]), kind, ())  # type: ignore[arg-type]
        assert parse(text_of_test(found), kind, ()) == found  # type: ignore[arg-type]

    seeds = [b"\0> 15", b"\0[2..6]", b'\1"a","b"', b'\1not("a")', b"\2true", b'\3>= @"2026-01-01"', b"\0-"]
    seeds += [
        b'\4time("10:30:00")',
        b'\5"said \\u00e9 \\U01F4A5 \\n"',
        b'\3[date("2026-01-01")..@"2026-02-01")',
    ]
    yield Opened(
        refusing(read, UnaryTestError), seeds, [b"..", b"not(", b"\\b", b"\\uD83D", b"duration(", b","]
    )


@door("words", nightly=200_000)
def words_heard() -> Iterator[Opened]:
    rules = default_rules()

    def read(data: bytes) -> Verdict:
        text = text_of(data)
        found = hear(rules, text)
        assert all(each.quote == text[each.start : each.end] for each in found)
        return let_in(found or match_symptoms(rules, text))

    said = [case.said for words in rules.words.values() for case in words.cases if case.heard]
    yield Opened(
        refusing(read), [text.encode() for text in said[::4]], [b"no ", b"not ", b"n't ", b". ", b"sin "]
    )


@door("search", nightly=200_000)
def search() -> Iterator[Opened]:
    index = index_machines(
        ListedMachine(
            f"LH20-{10001 + at}",
            "LH-20",
            f"LW-{at:04}",
            f"halt-{at % 40:03}",
            f"Halt {at}",
            "Alder",
            "555-0101",
        )
        for at in range(300)
    )

    def read(data: bytes) -> Verdict:
        return let_in(find_machines(index, text_of(data)))

    yield Opened(
        refusing(read), [b"LH20-10001", b"alder 17", b"555-0101", b"lw 0042", b"aldre halt"], [b"-", b"0"]
    )


@door("tokens", nightly=100_000)
def tokens() -> Iterator[Opened]:
    with TemporaryDirectory() as folder, running_service(Path(folder)) as service:
        with service.store.write() as work:
            token = work.tokens.add("desk", "agent", None, NOON)

        def read(data: bytes) -> Verdict:
            """`{token}` stands for a token that is good."""
            return let_in(requests.caller_for(service, text_of(data).replace("{token}", token)))

        yield Opened(refusing(read), [b"{token}"], [b"bw_", b"{token}", b" "])


@door("cursors", nightly=100_000)
def cursors() -> Iterator[Opened]:
    with TemporaryDirectory() as folder, running_service(Path(folder)) as service:
        for _ in range(3):
            tickets.open_ticket(service, REPORT, OPS)
        first = tickets.tickets(service, OPS, {}, None, 1).next_cursor
        assert first is not None

        def read(data: bytes) -> None:
            for caller in (OPS, FOGLINE):
                tickets.tickets(service, caller, {}, text_of(data), 2)

        yield Opened(refusing(read), [first.encode()], [b"=", b"W10", b"WyIyMDI2LTAzLTAyIiwgIlxcdWQ4MDAiXQ"])


@door("paths", nightly=1_400_000)
def paths() -> Iterator[Opened]:
    """Of the folder of rules that is edited, and where a form sends its sender on to."""
    with TemporaryDirectory() as place:
        folder = Path(place) / "rules"
        (folder / "facts").mkdir(parents=True)
        (folder / "facts/filter_days.yml").write_text("id: filter_days\n")
        (folder.parent / "secret.yml").write_text("secret\n")
        work = WorkFolder(folder)

        def read(data: bytes) -> Verdict:
            text = text_of(data)
            onward = own_path(text)
            parts = urlsplit(onward)
            assert onward.startswith("/") and not (parts.scheme or parts.netloc), onward
            assert onward[1:2] not in ("/", "\\"), onward
            if onward == text:
                return Verdict.ACCEPTED
            known = known_path(text)
            assert (folder / known).resolve().is_relative_to(folder.resolve()), known
            assert "secret" not in work.read(known).text
            return Verdict.ACCEPTED

        seeds = [b"facts/filter_days.yml", b"/tickets/T-1?fact=filter_days", b"/rulebook"]
        yield Opened(
            refusing(read), seeds, [b"../", b"//", b"/\\", b"%2e%2e/", b"secret.yml", b"https:", b"#", b"\n"]
        )


def json_seed(value: object) -> bytes:
    return json.dumps(value).encode()
