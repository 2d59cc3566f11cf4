"""What the lint may say: codes with their severity, one finding, where it stands, and how it is silenced.

Findings as SARIF, so that code-review tools show them beside the changed lines.

SARIF 2.1.0, OASIS Standard, 2020: one run, its rules with their default level (3.49, 3.50), its results with
physical locations (3.27 to 3.30) and in-source suppressions (3.35). Section numbers from memory; the parts of
the standard's own JSON schema (errata 01) that speak of these objects were read.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import Literal, TypeAlias
from urllib.parse import quote

from triage.rulebook.model import Rulebook
from triage.values.errors import Problem
from triage.values.plain_data import Path
from triage.values.shown import hint
from triage.values.yaml_source import Source, read_yaml

Severity: TypeAlias = Literal["error", "warning", "note"]

SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")


@dataclass(frozen=True, slots=True)
class Code:
    """One family of findings; `means` is a sentence for tables and review tools."""

    severity: Severity
    means: str


CODES: Mapping[str, Code] = {
    "never-fires": Code("error", "No report makes this condition true."),
    "never-set": Code("warning", "The condition wants a value that nothing in the rulebook ever sets."),
    "covered": Code("warning", "Another rule does the same whenever this one holds."),
    "counted-twice": Code("error", "Two observations hang on one fact, so one answer counts twice."),
    "counted-twice-derived": Code("warning", "Two observations hang on one fact by way of a derived one."),
    "likely-together": Code(
        "warning", "Two observations speak for nearly the same causes; one may make both."
    ),
    "band-overlap": Code("warning", "Two bands of a group hold at once; only the first counts."),
    "band-gap": Code("warning", "Between two bands of a group lie values that no band speaks of."),
    "band-never-reached": Code("error", "Earlier bands of the group take every case of this one."),
    "little-information": Code(
        "warning", "A seen-with pair changes the chance of its cause by next to nothing."
    ),
    "untouched-cause": Code("warning", "No evidence rule names this cause."),
    "cause-without-share": Code("warning", "No symptom gives this cause a share, so it is never ranked."),
    "limit-overlap": Code("error", "Two rows of a UNIQUE table hold at once."),
    "limit-gap": Code("error", "No row of a table holds for some inputs."),
    "dated-overlap": Code("warning", "Two warranty terms or rate agreements hold on the same day."),
    "dated-gap": Code("warning", "On some days no warranty terms or rate agreement of several hold."),
    "ceiling-below-row": Code("warning", "A row names an authority that may not approve all of the row."),
    "after-hours-below-day": Code("warning", "Less may be spent after hours than by day, all else alike."),
    "limit-gap-unknown": Code("warning", "No row of a table holds when an input is not known."),
    "row-never-reached": Code("warning", "Earlier rows of the table take every case of this one."),
    "policy-gap": Code(
        "warning", "On some numbers no policy rule names an outcome; the safe default decides."
    ),
    "policy-tie": Code("error", "Two policy rules of one priority name different outcomes."),
    "always-overruled": Code(
        "warning", "Whenever this policy rule holds, something above it decides otherwise."
    ),
    "check-resolves-nothing": Code("warning", "A check fixes nothing that its symptoms can have."),
    "check-cause-unreachable": Code("note", "A check names a cause that none of its symptoms can have."),
    "check-always-forbidden": Code("warning", "Whenever a check applies, a caution forbids it."),
    "no-safe-action": Code("error", "A caution takes every action away and names nobody who has one left."),
    "fact-never-known": Code("warning", "Nothing ever asks, records, computes or derives this fact."),
    "fact-unused": Code("note", "Nothing looks at this fact."),
    "unsafe-order": Code("error", "Steps have hands in a machine that is still on, or leave it off."),
    "opens-panel": Code("error", "A text tells a clerk to open the machine."),
    "words-one-language": Code("note", "A list of callers' words has no phrases in one of the languages."),
    "words-twice": Code("note", "Two phrases of a list hear the same."),
    "danger-without-words": Code("note", "No list of callers' words raises this danger."),
    "to-fill-in": Code("note", "A text still waits to be filled in."),
    "to-fill-in-live": Code("error", "A live rule has a text that still waits to be filled in."),
    "invisible-character": Code("error", "A text holds characters that nobody sees."),
    "blank-text": Code("error", "A text is empty, so people see nothing where it stands."),
    "absurd-number": Code("warning", "A number is far from what is usual."),
    "out-of-line": Code("warning", "An amount is several times its like: a decimal point may have slipped."),
    "zero-price": Code("warning", "Something that costs money is free."),
    "fee-falls": Code("warning", "A distance fee falls with the distance."),
    "response-order": Code("warning", "A more urgent priority has more time than a less urgent one."),
    "care-band": Code("warning", "The rules on days since care do not change at the end of its interval."),
    "derive-contradicts": Code("warning", "Two derive rules of one priority set one fact differently."),
    "derive-unused": Code("note", "A derive rule sets facts that nothing live looks at."),
    "policy-tie-differs": Code("warning", "Two rules of one priority and outcome differ in what follows."),
    "fact-unfilled": Code("note", "A fact of the record that no model has."),
    "check-never-pays": Code("warning", "A check costs more than it can save."),
    "check-caution-silent": Code("error", "A check names a caution that is not live, so it is not said."),
    "said-twice": Code("warning", "Two things that people must tell apart are worded alike."),
    "name-unknown": Code("warning", "A condition looks for a name that no file lists."),
    "lookalike": Code("warning", "A name that stands alone looks like another, perhaps a slip."),
    "unit-differs": Code("warning", "A fact's name says another unit than it is given in."),
    "no-range": Code("note", "A number has no range, so any answer is believed."),
    "unused": Code("note", "Nothing refers to this."),
    "says-otherwise": Code("warning", "A text says another number than the rule."),
    "says-nothing": Code("warning", "It stands there and has no effect."),
    "authority-short": Code("warning", "Ops approve more than any authority may."),
    "terms-contradict": Code("warning", "Two numbers of one agreement contradict each other."),
    "spanish-missing": Code("warning", "A text that clerks hear is not there in Spanish, though others are."),
    "language-left": Code("warning", "A text is in the other language than it should be."),
    "languages-differ": Code("warning", "The English and the Spanish of a text do not say the same."),
    "odd-text": Code("warning", "A text holds markup or a link, or is too long or too short to be read out."),
    "too-hard": Code("note", "The lint gave up on a question; nothing was proved."),
    "silence-unknown": Code("warning", "`lint_off` names a code that does not exist."),
    "silence-unused": Code("note", "`lint_off` names a finding that is not there."),
}
"""Code -> what it means. The severity is the code's own."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong, or doubtful, in a rulebook that can be read.

    `rule` is the id of the rule, check, fact or table. `path` leads to the place in `file`; `line` and
    `column` (1-based) are there once `located`. `silenced` is the reason given in the rule's `lint_off`.
    """

    code: str
    severity: Severity
    rule: str
    message: str
    file: str
    fix: str
    path: Path = ()
    line: int | None = None
    column: int | None = None
    silenced: str | None = None

    @property
    def where(self) -> str:
        """`path:line:column`, as far as known."""
        return ":".join(str(part) for part in (self.file, self.line, self.column) if part is not None)

    def __str__(self) -> str:
        return f"{self.where}: {self.severity} {self.code}: {self.message}. {self.fix}"


def finding(code: str, rule: str, file: str, message: str, fix: str, path: Path = ()) -> Finding:
    """A finding with the severity of its code."""
    return Finding(code, CODES[code].severity, rule, message, file, fix, path)


def too_hard(rule: str, file: str, question: str) -> Finding:
    """The finding that a question was given up."""
    return finding(
        "too-hard",
        rule,
        file,
        f"gave up on whether {question}",
        "Simpler conditions can be judged",
        ("when",),
    )


def silenced(found: Iterable[Finding], rulebook: Rulebook) -> Iterator[Finding]:
    """The findings, marked where `lint_off` names them, and findings about `lint_off` itself."""
    used: set[tuple[str, str]] = set()
    for each in found:
        reason = rulebook.lint_off.get(each.file, {}).get(each.code)
        if reason is not None:
            used.add((each.file, each.code))
        yield replace(each, silenced=reason)
    for file, reasons in rulebook.lint_off.items():
        rule = file.rpartition("/")[2].removesuffix(".yml")
        for code in reasons:
            path = ("lint_off", code)
            if code not in CODES:
                message = f'`lint_off` names "{code[:64]}", which is no finding'
                fix = f"Take it out{hint(code, CODES)}"
                yield finding("silence-unknown", rule, file, message, fix, path)
            elif (file, code) not in used:
                message = f"`lint_off` silences {code}, which is not found here"
                yield finding("silence-unused", rule, file, message, "Take the line out", path)


def in_order(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Errors first, then by file and place; each once."""
    return tuple(
        sorted(
            set(found),
            key=lambda each: (
                SEVERITIES.index(each.severity),
                each.file,
                each.line or 0,
                [str(part) for part in each.path],
                each.code,
                each.message,
            ),
        )
    )


def located(found: Iterable[Finding], folder: FilePath) -> tuple[Finding, ...]:
    """The findings with line and column in the files of `folder`; as they are where a file is not there."""
    sources: dict[str, Source] = {}
    placed = []
    for each in found:
        if each.file not in sources:
            path = folder / each.file
            sources[each.file] = read_yaml(path.read_bytes(), each.file) if path.is_file() else Source(None)
        placed.append(_placed(each, sources[each.file]))
    return in_order(placed)


def located_in(found: Iterable[Finding], sources: Mapping[str, Source]) -> tuple[Finding, ...]:
    """The findings with line and column in files that are read already."""
    return in_order(_placed(each, sources.get(each.file, Source(None))) for each in found)


def _placed(each: Finding, source: Source) -> Finding:
    path = each.path
    place = source.values.get(path)
    if place is None:  # the Spanish stands in another file, which says the same in English
        path = tuple(part.removesuffix("_es") if isinstance(part, str) else part for part in path)
        place = source.values.get(path)
    while place is None and path:
        path = path[:-1]
        place = source.values.get(path)
    return each if place is None else replace(each, line=place.line, column=place.column)


def counts(found: Iterable[Finding]) -> Mapping[Severity, int]:
    """How many findings of each severity are not silenced."""
    by_severity: dict[Severity, int] = dict.fromkeys(SEVERITIES, 0)
    for each in found:
        if each.silenced is None:
            by_severity[each.severity] += 1
    return by_severity


SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
READING = "cannot-be-read"
BASE = "RULEBOOK"

_RULES: tuple[tuple[str, str, str], ...] = (
    (READING, "error", "The rulebook cannot be read."),
    *((code, about.severity, about.means) for code, about in CODES.items()),
)
_INDEX = {code: index for index, (code, _, _) in enumerate(_RULES)}


def sarif(found: Sequence[Finding], problems: Sequence[Problem] = ()) -> Mapping[str, object]:
    """The log. `problems` are those of a rulebook that could not be read. Paths are relative to it."""
    results = [*map(_of_problem, problems), *map(_of_finding, found)]
    if any("suppressions" in result for result in results):
        for result in results:  # 3.27.23: none of a run's results has them, or each has, if need be none
            result.setdefault("suppressions", [])
    rules = [
        {
            "id": code,
            "shortDescription": {"text": means},
            "defaultConfiguration": {"level": severity},
        }
        for code, severity, means in _RULES
    ]
    return {
        "$schema": SCHEMA,
        "version": "2.1.0",
        "runs": [
            {
                "tool": {"driver": {"name": "barrelwise rulebook check", "rules": rules}},
                "columnKind": "unicodeCodePoints",
                "results": results,
            }
        ],
    }


def _of_finding(each: Finding) -> dict[str, object]:
    text = f"{each.message}. {each.fix}."
    result = _result(each.code, each.severity, text, each.file, each.line, each.column)
    if each.silenced is not None:
        result["suppressions"] = [{"kind": "inSource", "justification": each.silenced}]
    return result


def _of_problem(problem: Problem) -> dict[str, object]:
    return _result(READING, "error", problem.message, problem.file, problem.line, problem.column)


def _result(
    code: str, level: str, text: str, file: str | None, line: int | None, column: int | None
) -> dict[str, object]:
    result: dict[str, object] = {
        "ruleId": code,
        "ruleIndex": _INDEX[code],
        "level": level,
        "message": {"text": text},
    }
    if file is not None:
        place: dict[str, object] = {"artifactLocation": {"uri": quote(file), "uriBaseId": BASE}}
        if line is not None:
            place["region"] = {"startLine": line} | ({"startColumn": column} if column is not None else {})
        result["locations"] = [{"physicalLocation": place}]
    return result
