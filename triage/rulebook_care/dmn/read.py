"""Decision tables out of DMN XML of any tool: 1.3 to 1.5, any prefix and layout, diagrams left aside.

The file is data of a stranger: a document type (and with it every entity) is refused, nothing outside the
file is looked at, and size is bounded.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from lxml import etree

from triage.rulebook_care.dmn.table import DMN_13, DMN_14, DMN_15, EXTENSION, Input, Output, Rule, Table
from triage.values.errors import InputError, Problem

MOST_BYTES = 8 * 1024 * 1024
MOST_CELLS = 200_000
MOST_RULES = 5_000
"""Rows of one table; a rulebook's file could not hold more."""
HIT_POLICIES = ("UNIQUE", "FIRST", "PRIORITY", "COLLECT")
_SPACES = (DMN_15, DMN_14, DMN_13)
_BOMS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")
_CURRENCY = re.compile(r"amount_([A-Z]{3})")


@dataclass(frozen=True, slots=True)
class Read:
    """What a file holds. `currencies` are the currencies of its amounts, with the first line of each."""

    tables: tuple[Table, ...]
    currencies: dict[str, int] = field(default_factory=dict)


def read_model(content: bytes, file: str) -> Read:
    """The tables of a file. Raises InputError with every problem, each with its line and how to fix it."""
    return _Reader(_root(content, file), file).read()


def _root(content: bytes, file: str) -> etree._Element:
    if len(content) > MOST_BYTES:
        raise InputError([Problem(f"the file is larger than {MOST_BYTES:,} bytes; split it", file=file)])
    doctype = Problem(
        "a document type (<!DOCTYPE …>) is not read, for what it may pull in; take it out", file=file, line=1
    )
    if _begins_with_doctype(content):
        raise InputError([doctype])
    parser = etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        dtd_validation=False,
        huge_tree=False,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        root = etree.fromstring(content, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        line = getattr(error, "lineno", None) or 1
        message = f"this is not XML that can be read: {' '.join(str(error).split())[:200]}; save it anew"
        raise InputError([Problem(message, file=file, line=line)]) from None
    if getattr(root.getroottree().docinfo, "doctype", ""):
        raise InputError([doctype])
    space = etree.QName(root).namespace
    if etree.QName(root).localname != "definitions" or space not in _SPACES:
        message = "this is no DMN of version 1.3, 1.4 or 1.5; its root is `definitions` in their namespace"
        raise InputError([Problem(message, file=file, line=_line(root))])
    return root


def _begins_with_doctype(content: bytes) -> bool:
    """Whether a document type stands before the first element, seen before a parser acts on it."""
    for mark in _BOMS:
        content = content.removeprefix(mark)
    rest = content[: 64 * 1024].replace(b"\0", b"").lstrip()
    while rest.startswith((b"<?", b"<!--")):
        end = b"?>" if rest.startswith(b"<?") else b"-->"
        rest = rest.partition(end)[2].lstrip()
    return rest.startswith(b"<!DOCTYPE")


def _line(element: etree._Element) -> int:
    return int(getattr(element, "sourceline", None) or 0)


def _type_name(type_ref: str) -> str:
    return type_ref.rpartition(":")[2].strip()


class _Reader:
    def __init__(self, root: etree._Element, file: str) -> None:
        self.root, self.file = root, file
        self.space = etree.QName(root).namespace
        self.problems: list[Problem] = []
        self.types = {
            item.get("name", ""): self.text(item, "typeRef") for item in self.children(root, "itemDefinition")
        }
        self.currencies: dict[str, int] = {}
        self._currency_by_type: dict[str, str | None] = {"": None}
        self.cells = 0

    def read(self) -> Read:
        for element in self.children(self.root, "import"):
            self.problem(element, "another file is imported here, which is not read; copy in what is needed")
        decisions = list(self.children(self.root, "decision"))
        if not decisions:
            self.problem(self.root, "there is no decision in this file; draw a decision table in it")
        tables = [self.decision(each) for each in decisions]
        if self.problems:
            raise InputError(self.problems)
        return Read(tuple(table for table in tables if table is not None), self.currencies)

    def decision(self, element: etree._Element) -> Table | None:
        name = element.get("name", "")
        table = self.child(element, "decisionTable")
        if table is None:
            self.problem(element, f'"{name[:64]}" is no decision table; only tables are read: take it out')
            return None
        self.check_language(table)
        hit = table.get("hitPolicy", "UNIQUE")
        if hit not in HIT_POLICIES:
            self.problem(table, f'hit policy "{hit[:40]}" is not read; use {", ".join(HIT_POLICIES)}')
        aggregation = table.get("aggregation")
        if hit == "COLLECT" and aggregation not in ("SUM", "MIN", "MAX"):
            self.problem(table, "COLLECT is read with the aggregation SUM, MIN or MAX only; set it")
        variable = self.child(element, "variable")
        if variable is not None:
            self.note_currency(variable, variable.get("typeRef", ""))
        inputs = tuple(self.input(each) for each in self.children(table, "input"))
        outputs = tuple(self.output(each) for each in self.children(table, "output"))
        notes = tuple(each.get("name", "") for each in self.children(table, "annotation"))
        if not outputs:
            self.problem(table, "the table has no output; add one")
        rows = list(self.children(table, "rule"))
        if len(rows) > MOST_RULES:
            self.problem(table, f"the table has {len(rows):,} rows; at most {MOST_RULES:,} are read")
            return None
        return Table(
            id=element.get("id", ""),
            name=name,
            label=element.get("label", ""),
            description=self.text(element, "description"),
            hit_policy=hit,
            aggregation=aggregation if hit == "COLLECT" else None,
            inputs=inputs,
            outputs=outputs,
            notes=notes,
            rules=tuple(self.rule(each, inputs, outputs, notes) for each in rows),
            files=dict(self.files(element)),
            line=_line(element),
        )

    def input(self, element: etree._Element) -> Input:
        expression = self.child(element, "inputExpression")
        if expression is None:
            self.problem(element, "the input has no expression; write the fact it looks at")
            return Input("", "")
        self.note_currency(expression, expression.get("typeRef", ""))
        at = self.child(expression, "text")
        line = _line(expression if at is None else at)
        return Input(self.text(expression, "text"), expression.get("typeRef", ""), None, line)

    def output(self, element: etree._Element) -> Output:
        if self.child(element, "defaultOutputEntry") is not None:
            self.problem(element, "a default output is not read; write a row for what it stands for")
        self.note_currency(element, element.get("typeRef", ""))
        values = self.child(element, "outputValues")
        return Output(
            element.get("name") or element.get("label") or "",
            element.get("typeRef", ""),
            None if values is None else self.text(values, "text"),
            _line(element),
        )

    def rule(
        self,
        element: etree._Element,
        inputs: tuple[Input, ...],
        outputs: tuple[Output, ...],
        notes: tuple[str, ...],
    ) -> Rule:
        tests = list(self.children(element, "inputEntry"))
        values = list(self.children(element, "outputEntry"))
        self.cells += len(tests) + len(values)
        for found, columns, what in ((tests, inputs, "inputs"), (values, outputs, "outputs")):
            if len(found) != len(columns):
                message = f"the row has {len(found)} {what}, the table {len(columns)}; make them as many"
                self.problem(element, message)
        if self.cells > MOST_CELLS:
            raise InputError([Problem(f"there are more than {MOST_CELLS:,} cells; split it", file=self.file)])
        said = [self.text(each, "text") for each in self.children(element, "annotationEntry")]
        return Rule(
            element.get("id", ""),
            tuple(self.text(each, "text") or "-" for each in tests),
            tuple(self.text(each, "text") for each in values),
            dict(zip(notes, said, strict=False)),
            _line(element),
            tuple(self.line_of(each) for each in (*tests, *values)),
        )

    def line_of(self, entry: etree._Element) -> int:
        self.check_language(entry)
        text = self.child(entry, "text")
        return _line(entry if text is None else text)

    def files(self, element: etree._Element) -> Iterator[tuple[str, str]]:
        extensions = self.child(element, "extensionElements")
        for found in [] if extensions is None else extensions.findall(f"{{{EXTENSION}}}file"):
            yield found.get("path", ""), found.text or ""

    def check_language(self, element: etree._Element) -> None:
        language = element.get("expressionLanguage", "feel")
        if "feel" not in language.lower():
            self.problem(element, f'expressions in "{language[:80]}" are not read; write them in FEEL')

    def note_currency(self, element: etree._Element, type_ref: str) -> None:
        """Follows a type to what it is made of; the first that names a currency counts."""
        currency = self._currency_of(_type_name(type_ref))
        if currency is not None:
            self.currencies.setdefault(currency, _line(element))

    def _currency_of(self, name: str) -> str | None:
        """The currency that a type leads to; every type on the way is followed once."""
        way: list[str] = []
        while name not in self._currency_by_type:
            self._currency_by_type[name] = None  # until it is found: a circle of types leads to none
            way.append(name)
            if (found := _CURRENCY.fullmatch(name)) is not None:
                self._currency_by_type[name] = found[1]
                break
            name = _type_name(self.types.get(name, ""))
        currency = self._currency_by_type[name]
        self._currency_by_type.update(dict.fromkeys(way, currency))
        return currency

    def children(self, element: etree._Element, name: str) -> Iterator[etree._Element]:
        return (each for each in element.findall(f"{{{self.space}}}{name}"))

    def child(self, element: etree._Element, name: str) -> etree._Element | None:
        return element.find(f"{{{self.space}}}{name}")

    def text(self, element: etree._Element, name: str) -> str:
        found = self.child(element, name)
        return "" if found is None else "".join(str(part) for part in found.itertext()).strip()

    def problem(self, element: etree._Element, message: str) -> None:
        self.problems.append(Problem(message, file=self.file, line=_line(element)))
