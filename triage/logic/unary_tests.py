"""Unary tests in S-FEEL, the simple expression language of OMG DMN 1.5, clause 9 (dtc/23-02-10).

    15   "text"   true   > 15   [2..6]   (15..30]   ]15..30[   "a","b"   not("a")   -
    date("2026-01-01")   @"2026-01-01"   time("10:30:00")   @"10:30:00"

Two things differ from the standard, both because a test is the value of a YAML key. A value that YAML
already read as a number, flag or date counts as that value (a date also as its bare text, which is how JSON
has it). And, since YAML takes the quotes of a lone "text" away, a bare word tested against a choice or text
fact counts as that text. Names that stand for other values, dates with a time and durations are not read,
for no fact has such a type.
"""

import re
from collections.abc import Collection
from datetime import date, time
from decimal import Decimal
from functools import cache, lru_cache
from typing import Literal, TypeAlias

from lark import Lark, Token, Tree
from lark.exceptions import UnexpectedCharacters, UnexpectedToken

from triage.logic.conditions import Anything, Compare, Interval, Not, OneOf, Scalar, UnaryTest
from triage.values.plain_data import exact_number
from triage.values.shown import hint

MOST_VALUES = 500
"""Values of one field in one test; beyond it the inference engine would not compile."""

MOST_CHARACTERS = 20_000

FactType: TypeAlias = Literal["number", "choice", "flag", "date", "time", "text"]


_GRAMMAR = r"""
start: "not" LEFT _positive RIGHT -> negation
     | "-"                     -> anything
     | _positive               -> positive
_positive: one ("," one)*
?one: endpoint                 -> equal
    | COMPARE endpoint         -> compare
    | _open endpoint ".." endpoint _close -> interval
?endpoint: NUMBER              -> number
    | TEXT                     -> text
    | TRUTH                    -> truth
    | CALL LEFT TEXT RIGHT        -> call
    | "@" TEXT                 -> at
    | NAME                     -> name
COMPARE: "<=" | ">=" | "<" | ">"
!_open: "[" | LEFT | "]"
!_close: "]" | RIGHT | "["
LEFT: "("
RIGHT: ")"
TRUTH.3: /(true|false)(?![\w-])/
CALL.3: /(date and time|date|time|duration)(?=\s*\()/
NUMBER.2: /-?(\d+(\.\d+)?|\.\d+)(?![\w-])/
TEXT: /"(\\.|[^"\\])*"/
NAME: /[^\W\d][\w-]*/
%ignore /[ \t\n-\r\u0085\u00a0\u1680\u180e\u2000-\u200b\u2028\u2029\u202f\u205f\u3000\ufeff]+/
"""
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_ORDERED: frozenset[FactType] = frozenset({"number", "date", "time"})
_KINDS: dict[type, str] = {
    Decimal: "a number",
    bool: "true or false",
    str: "text",
    date: "a date",
    time: "a time",
}
_WANTED: dict[FactType, tuple[type, str]] = {
    "number": (Decimal, "a number such as 15 or > 15"),
    "flag": (bool, "true or false"),
    "date": (date, 'a date such as @"2026-01-01"'),
    "time": (time, 'a time such as @"10:30:00"'),
    "text": (str, 'text in quotes such as "a"'),
    "choice": (str, 'one of its choices in quotes such as "a"'),
}


class UnaryTestError(ValueError):
    """A test that cannot be read or does not fit its fact. `column` is 1-based within the test's text."""

    def __init__(self, message: str, column: int = 1) -> None:
        super().__init__(message)
        self.message = message
        self.column = column


def parse(raw: object, fact_type: FactType, choices: Collection[str] | None = None) -> UnaryTest:
    """The unary test of a text, or of a value that YAML already read, for a fact of the given type.

    `choices` are the ids a choice fact may have; None or none leaves them unchecked. Raises UnaryTestError.
    """
    reader = _Reader(fact_type, choices or ())
    match raw:
        case str() if fact_type == "date" and _ISO_DATE.fullmatch(raw):
            return Compare("=", _temporal(raw, "date", 1))
        case str():
            pass
        case bool() | Decimal() | date():
            return Compare("=", reader.fitting(raw, 1))
        case int():
            return Compare("=", reader.fitting(Decimal(raw), 1))
        case list():
            raise UnaryTestError("""a test in brackets or a list needs quotes, as "[2..6]" or '"a","b"'""")
        case _:
            raise UnaryTestError(f"a test is wanted here: {_WANTED[fact_type][1]}")
    if len(raw) > MOST_CHARACTERS:
        raise UnaryTestError(f"the test has {len(raw):,} characters; at most {MOST_CHARACTERS:,} are read")
    if not raw.strip():
        raise UnaryTestError('the test is empty; write "-" for "whatever the value"')
    test = reader.test(_tree(raw))
    if fact_type == "number" and (comma := re.search(r"(\d+),(0\d+)", raw)):
        raise UnaryTestError(
            f"a comma stands between two values; write {comma[1]}.{comma[2]}", comma.start() + 1
        )
    return test


@cache
def _parser() -> Lark:
    return Lark(_GRAMMAR, parser="lalr", maybe_placeholders=False)


@lru_cache(maxsize=4096)
def _tree(text: str) -> Tree[Token]:
    try:
        return _parser().parse(text)
    except UnexpectedToken as error:
        if error.token.type == "$END":
            message = "the test ends too early; is a bracket or value missing?"
            raise UnaryTestError(message, len(text.rstrip()) + 1) from None
        at, written = error.token.start_pos or 0, str(error.token)[:40]
        raise UnaryTestError(f'"{written}" is not expected here{_fix(text, at)}', at + 1) from None
    except UnexpectedCharacters as error:
        at = error.pos_in_stream or 0
        message = f'"{text[at : at + 20]}" cannot be read here{_fix(text, at)}'
        raise UnaryTestError(message, at + 1) from None


def _fix(text: str, at: int) -> str:
    rest = text[at:]
    if dated := re.search(r"\d{4}-\d{2}-\d{2}", text):
        return f'; a date is written date("{dated[0]}")'
    if rest.startswith("=") or rest.startswith("!"):
        return "; equality is the value alone (15), its contrary is not(15); order is <, <=, > or >="
    if rest.startswith("'"):
        return '; text stands in double quotes: "a"'
    if rest.startswith('"'):
        return "; is a comma or a closing quote missing?"
    if re.match(r"(and|or)\b", rest):
        return "; a test has no `and` or `or`: use [a..b], a list with commas, or any_of"
    if re.match(r"\d", rest):
        return "; numbers are written 15 or 15.5, with a comma between two of them"
    if rest.startswith("-"):
        return '; "-" stands alone, or before the digits of a number'
    return '; tests look like 15, > 15, [2..6], "a","b", not("a") or -'


class _Reader:
    def __init__(self, fact_type: FactType, choices: Collection[str]) -> None:
        self.fact_type = fact_type
        self.choices = choices

    def test(self, tree: Tree[Token]) -> UnaryTest:
        if tree.data == "anything":
            return Anything()
        parts = [part for part in tree.children if isinstance(part, Tree)]
        if len(parts) > MOST_VALUES:
            raise UnaryTestError(f"the test lists {len(parts)} values; at most {MOST_VALUES} can be used")
        tests = tuple(self.one(part) for part in parts)
        if tree.data == "negation":
            return Not(tests)
        return tests[0] if len(tests) == 1 else OneOf(tests)

    def one(self, tree: Tree[Token]) -> UnaryTest:
        match tree.data:
            case "compare":
                operator, endpoint = tree.children
                value = self.ordered(_subtree(endpoint), _column(operator))
                return Compare(str(operator), value)  # type: ignore[arg-type]  # the grammar's four operators
            case "interval":
                opening, low, high, closing = tree.children
                return self.interval(opening, _subtree(low), _subtree(high), closing)
            case _:
                endpoint = _subtree(tree.children[0]) if tree.data == "equal" else tree
                return Compare("=", self.endpoint(endpoint))

    def interval(self, opening: object, low: Tree[Token], high: Tree[Token], closing: object) -> Interval:
        start = self.ordered(low, _column(opening))
        end = self.ordered(high, _column(opening))
        low_closed, high_closed = str(opening) == "[", str(closing) == "]"
        if end < start or (end == start and not (low_closed and high_closed)):  # type: ignore[operator]
            raise UnaryTestError("nothing lies in this interval; the lower end comes first", _column(opening))
        return Interval(start, end, low_closed, high_closed)

    def ordered(self, endpoint: Tree[Token], column: int) -> Scalar:
        if self.fact_type not in _ORDERED:
            raise UnaryTestError(
                f"a fact of type {self.fact_type} has no order; test it with {_WANTED[self.fact_type][1]}",
                column,
            )
        return self.endpoint(endpoint)

    def endpoint(self, tree: Tree[Token]) -> Scalar:
        first = tree.children[0]
        assert isinstance(first, Token)
        column, text = _column(first), str(first)
        match tree.data:
            case "number":
                return self.fitting(_number(text, column), column)
            case "truth":
                return self.fitting(text == "true", column)
            case "text":
                return self.fitting(_unquoted(text, column), column)
            case "name":
                return self.name(text, column)
            case "call":
                return self.fitting(_temporal(_unquoted(str(tree.children[2]), column), text, column), column)
            case _:
                return self.fitting(_temporal(_unquoted(text, column), None, column), column)

    def name(self, text: str, column: int) -> Scalar:
        if self.fact_type in ("choice", "text"):
            return self.fitting(text, column)
        raise UnaryTestError(
            f'"{text[:40]}" is a bare word; this fact wants {_WANTED[self.fact_type][1]}', column
        )

    def fitting(self, value: Scalar, column: int) -> Scalar:
        wanted, example = _WANTED[self.fact_type]
        if type(value) is not wanted:
            kind = f'date("{value}")' if type(value) is date else _KINDS.get(type(value), "a value")
            raise UnaryTestError(
                f"{kind} does not fit a fact of type {self.fact_type}; write {example}", column
            )
        if self.fact_type == "choice" and self.choices and value not in self.choices:
            fix = hint(str(value), self.choices, f"; the choices are {', '.join(sorted(self.choices))[:300]}")
            raise UnaryTestError(f'"{str(value)[:80]}" is not a choice of this fact{fix}', column)
        return value


def _subtree(node: object) -> Tree[Token]:
    assert isinstance(node, Tree)
    return node


def _column(token: object) -> int:
    assert isinstance(token, Token)
    return (token.start_pos or 0) + 1


def _number(text: str, column: int) -> Decimal:
    try:
        return exact_number(text)
    except ValueError as error:
        raise UnaryTestError(str(error), column) from None


_ESCAPES = {"n": "\n", "r": "\r", "t": "\t", '"': '"', "'": "'", "\\": "\\"}


def _unquoted(text: str, column: int) -> str:
    def one(match: re.Match[str]) -> str:
        code = match[1]
        return chr(int(code[1:], 16)) if len(code) > 1 else _ESCAPES.get(code, code)

    found = re.sub(r"\\(u[0-9a-fA-F]{4}|U[0-9a-fA-F]{6}(?<=U0[0-9a-fA-F]{5})|.)", one, text[1:-1], flags=re.S)
    try:
        return found.encode("utf-16", "surrogatepass").decode("utf-16")  # two halves are one character
    except UnicodeDecodeError:
        raise UnaryTestError("an escape in this text stands for half a character", column) from None


def _temporal(text: str, kind: str | None, column: int) -> date | time:
    if kind not in ("time", "date", None):
        raise UnaryTestError(f"no fact is a {kind}; use date(...) or time(...)", column)
    if kind in ("date", None) and _ISO_DATE.fullmatch(text):
        try:
            return date.fromisoformat(text)
        except ValueError as error:
            raise UnaryTestError(f'"{text}" is not a day of the calendar ({error})', column) from None
    if kind in ("time", None) and re.fullmatch(r"\d{2}:\d{2}:\d{2}(\.\d{1,6})?", text, re.ASCII):
        try:
            return time.fromisoformat(text)
        except ValueError as error:
            raise UnaryTestError(f'"{text}" is not a time of day ({error})', column) from None
    example = {"date": '"2026-01-01"', "time": '"10:30:00"'}.get(kind or "", '"2026-01-01" or "10:30:00"')
    raise UnaryTestError(
        f'"{text[:40]}" is not read as a {kind or "date or time"}; write it as {example}', column
    )
