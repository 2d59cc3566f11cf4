"""The doors of the rulebook: YAML, whole files, conditions, decision tables, edits, the book."""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser

from tests import RULES
from tests.fuzz.door import Opened, Verdict, door, let_in, refusing
from tests.fuzz.texts import default_rules
from tests.published.test_sarif_standard import wrong
from tests.triage.builders import minimal_files
from triage.logic.conditions import evaluate, facts_in
from triage.rulebook.built_in_facts import every_fact
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.conditions import read_when
from triage.rulebook.reading.problems import Names, Problems
from triage.rulebook.reading.reader import rulebook_from_data, rulebook_of_sources
from triage.rulebook_care.book.book import as_html
from triage.rulebook_care.dmn.exporting import export_model
from triage.rulebook_care.dmn.importing import import_tables
from triage.rulebook_care.dmn.rows import TooManyRows, rows_of
from triage.rulebook_care.dmn.write import write_model
from triage.rulebook_care.editing.saving import with_data
from triage.rulebook_care.lint.findings import sarif
from triage.rulebook_care.lint.lint import lint
from triage.values.errors import InputError, RulebookError
from triage.values.json_text import read_strict
from triage.values.plain_data import NotPlain, canonical, plain
from triage.values.yaml_source import Source, read_yaml

YAML_WORDS = (
    *(
        b": ",
        b"- ",
        b"# x\n",
        b"\n  ",
        b"|\n",
        b">-\n",
        b"&a ",
        b"*a",
        b"!!x ",
        b"? ",
        b"{",
        b"]",
        b"\t",
        b"'",
        b'"',
    ),
    *(b"---\n", b"%YAML", b"<<: ", b'"\\b"', b"0x1f", b".inf", b"not(", b"known: ", b"any_of:\n", b"~"),
)


def rule_files() -> list[tuple[str, bytes]]:
    """Path and text of the default rulebook's files, three of each kind."""
    found: list[tuple[str, bytes]] = []
    for folder in [RULES, *sorted(path for path in RULES.iterdir() if path.is_dir())]:
        names = sorted(folder.glob("*.yml"))
        step = max(1, len(names) // 3)
        found += [(path.relative_to(RULES).as_posix(), path.read_bytes()) for path in names[::step]]
    return found


@door("yaml", nightly=200_000)
def yaml_text() -> Iterator[Opened]:
    def read(data: bytes) -> None:
        """Data that is read stays the same through its one spelling."""
        found = read_yaml(data, "facts/x.yml")
        assert canonical(plain(found.data)) == canonical(found.data)

    yield Opened(refusing(read), [text for _, text in rule_files()], YAML_WORDS)


class World:
    """The minimal rulebook, of which one file at a time is another."""

    def __init__(self) -> None:
        self.files = minimal_files()
        self.sources = {path: Source(plain(data)) for path, data in self.files.items()}

    def seeds(self) -> list[bytes]:
        """`path`, a line's end, and the file; JSON is YAML."""
        return [
            f"{path}\n".encode() + canonical(source.data).encode() for path, source in self.sources.items()
        ]

    def read(self, data: bytes) -> tuple[Rulebook, dict[str, object]]:
        name, _, content = data.partition(b"\n")
        path = name.decode("utf-8", "replace")
        known = path if path in self.files else "facts/filter_days.yml"
        try:
            sources, broken = {**self.sources, known: read_yaml(content, known)}, {}
        except RulebookError as error:
            sources = {file: source for file, source in self.sources.items() if file != known}
            broken = {known: error.problems}
        rulebook = rulebook_of_sources(sources, broken, "fuzzed")
        return rulebook, {file: source.data for file, source in sources.items()}


@door("rulebook", nightly=100_000)
def rulebook_files() -> Iterator[Opened]:
    """Every kind of file, read into a whole rulebook; as plain data it can be read as well."""
    world = World()

    def read(data: bytes) -> None:
        found, files = world.read(data)
        assert rulebook_from_data(files, "fuzzed").title == found.title

    yield Opened(refusing(read), world.seeds(), YAML_WORDS)


@door("sarif", nightly=30_000, everyday=20)
def findings() -> Iterator[Opened]:
    """What the check of a rulebook finds, in SARIF as the standard has it."""
    world = World()

    def read(data: bytes) -> Verdict:
        try:
            found, problems = lint(world.read(data)[0]), ()
        except InputError as error:
            found, problems = (), error.problems
        assert wrong(sarif(found, problems)) == []
        return let_in(not problems)

    yield Opened(refusing(read), world.seeds(), YAML_WORDS)


class Tags(HTMLParser):
    """The tags of a page, each with the names of its attributes, and where its links lead."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: set[tuple[str, ...]] = set()
        self.links: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.add((tag, *sorted(name for name, _ in attrs)))
        self.links |= {value or "" for name, value in attrs if name in ("href", "src")}


@door("book", nightly=10_000, everyday=20)
def book() -> Iterator[Opened]:
    """No text of a rule becomes a tag, an attribute or a way out of the page."""
    world = World()
    usual = Tags(as_html(default_rules())).found | Tags(as_html(rulebook_from_data(world.files))).found

    def read(data: bytes) -> None:
        tags = Tags(as_html(world.read(data)[0]))
        assert tags.found <= usual, sorted(tags.found - usual)
        assert all(link.startswith("#") for link in tags.links), tags.links

    texts = [seed for seed in world.seeds() if b'"why"' in seed or b'"steps"' in seed or b'"title"' in seed]
    yield Opened(
        refusing(read),
        texts,
        [b"<b>", b"](", b"|", b"```", b"\\n", b"&lt;", b"# ", b"1. ", b"http://x.invalid"],
    )


@door("conditions", nightly=400_000)
def conditions() -> Iterator[Opened]:
    """A `when` as JSON: read, evaluated, and laid out as the rows of a table."""
    rules = default_rules()
    facts = every_fact(rules)
    known = {"number": 15, "flag": True}
    values = {name: known[fact.type] for name, fact in facts.items() if fact.type in known}
    ids = {"facts": frozenset(facts), "checks": frozenset(rules.checks), "causes": frozenset(rules.causes)}

    def read(data: bytes) -> None:
        problems = Problems({})
        names = Names(problems, ids, facts, None, None)
        when = read_when(names, "x.yml", (), plain(read_strict(data)))
        if problems.found:
            raise RulebookError(problems.found)
        assert facts_in(when) <= facts.keys()
        truth = evaluate(when, values)  # type: ignore[arg-type]
        assert truth in (True, False, None)
        rows_of(when)

    whens = [read_yaml(text, path).data for path, text in rule_files() if path.startswith("policy/")]
    seeds = [canonical(data["when"]).encode() for data in whens if isinstance(data, dict)]
    seeds.append(
        b'{"any_of": [{"filter_days": "> 15"}, {"unknown": ["fill_level"]}], "known": ["gas_smell"]}'
    )
    seeds.append(b'{"none_of": [{"filter_days": "[2..6]", "symptom": "not(leaking)"}, {"gas_smell": true}]}')
    words = [*(name.encode() for name in facts), b"any_of", b"none_of", b"known", b"unknown", b"> 15", b"-"]
    yield Opened(refusing(read, TooManyRows, NotPlain), seeds, words)


@door("dmn", nightly=50_000, everyday=20)
def dmn() -> Iterator[Opened]:
    """Tables that are taken in come out so that they are taken in without a change."""
    files = minimal_files()
    whole = write_model(export_model(rulebook_from_data(files), files))

    def read(data: bytes) -> None:
        found = import_tables(data, "tables.dmn", files)
        again = write_model(export_model(found.rulebook, found.files))
        assert not import_tables(again, "tables.dmn", found.files).changed

    seeds = [
        write_model(export_model(rulebook_from_data(files), files, [name])) for name in ("standing", "policy")
    ]
    words = [b"<rule>", b"</rule>", b"<text>", b"</text>", b"<!DOCTYPE x>", b"<![CDATA[", b"&#0;", b"&lt; 15"]
    words += [
        b'hitPolicy="FIRST"',
        b"null",
        b"<?x?>",
        b"amount_EUR",
        b"xmlns:x='x'",
        b"- ",
        b'not("a")',
        b"<import/>",
    ]
    yield Opened(refusing(read), [whole, *seeds], words)


@door("saving", nightly=30_000, everyday=20)
def saving() -> Iterator[Opened]:
    """A file that is read is written anew with a part of it changed, and then says just that."""

    def read(data: bytes) -> None:
        text = data.decode("utf-8", "replace")
        found = plain(read_yaml(text.encode(), "x.yml").data)
        changed = {**found, "title": "Changed"} if isinstance(found, dict) else {"title": "Changed"}
        assert canonical(read_yaml(with_data(text, changed, "x.yml").encode(), "x.yml").data) == canonical(
            changed
        )

    seeds = [text for path, text in rule_files() if path.startswith(("limits", "policy"))]
    yield Opened(refusing(read), seeds, YAML_WORDS)
