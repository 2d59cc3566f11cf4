"""Decision tables as DMN has them: texts of S-FEEL in columns and rows, and the lines they stand on."""

from collections.abc import Mapping
from dataclasses import dataclass, field

DMN_15 = "https://www.omg.org/spec/DMN/20230324/MODEL/"
"""OMG DMN 1.5; the number is the day of its machine-readable files (from memory)."""

DMN_14 = "https://www.omg.org/spec/DMN/20211108/MODEL/"
DMN_13 = "https://www.omg.org/spec/DMN/20191111/MODEL/"

EXTENSION = "urn:barrelwise:rulebook:1"
"""Namespace of what a decision table has no place for: each file as canonical JSON, so that none is lost."""

POLICY = "policy"
"""Id and name of the decision that holds all policy rules."""

POLICY_OUTPUTS = ("priority", "outcome", "rule")


@dataclass(frozen=True, slots=True)
class Input:
    expression: str
    type_ref: str
    values: str | None = None
    line: int = 0


@dataclass(frozen=True, slots=True)
class Output:
    name: str
    type_ref: str
    values: str | None = None
    line: int = 0


@dataclass(frozen=True, slots=True)
class Rule:
    """One row: a text for each input and output, and notes by the name of their column."""

    id: str
    tests: tuple[str, ...]
    values: tuple[str, ...]
    notes: Mapping[str, str] = field(default_factory=dict)
    line: int = 0
    lines: tuple[int, ...] = ()  # of tests and values in turn; empty when not read from a file


@dataclass(frozen=True, slots=True)
class Table:
    """One decision. `name` is the rulebook's id, `label` its title, "" where none is given.

    `files` are the paths of the rulebook's files that it stands for -> their content as JSON.
    """

    id: str
    name: str
    label: str
    description: str
    hit_policy: str
    aggregation: str | None
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    notes: tuple[str, ...]
    rules: tuple[Rule, ...]
    files: Mapping[str, str] = field(default_factory=dict)
    line: int = 0


@dataclass(frozen=True, slots=True)
class ItemType:
    """A named type: `base` with allowed values, a list of `base`, or a context of named parts."""

    name: str
    base: str | None = None
    allowed: str | None = None
    is_list: bool = False
    parts: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Model:
    """A whole file: types, the facts that are asked (name -> type) and the decisions."""

    title: str
    types: tuple[ItemType, ...]
    data: Mapping[str, str]
    needs: Mapping[str, tuple[str, ...]]  # decision -> facts
    tables: tuple[Table, ...]
    version: str = ""
