"""The protocol of an inference engine: for the rules of one stage, is each condition true, false or unknown?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from triage.conditions import Condition, Facts, Truth


class Engine(Protocol):
    """Compiled conditions. `truths` may be called from many threads."""

    @property
    def name(self) -> str: ...

    def truths(self, stage: str, facts: Facts) -> Mapping[str, Truth]:
        """The truth of every condition of `stage`, by rule id, in the order they were given."""
        ...


class CompileEngine(Protocol):
    def __call__(self, stages: Mapping[str, Mapping[str, Condition]]) -> Engine: ...
