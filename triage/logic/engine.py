"""The protocol of an inference engine: for the rules of a stage, is each condition true, false or unknown?"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Protocol

from triage.logic.conditions import Condition, Facts, Truth
from triage.values.errors import Problem, RulebookError


class Engine(Protocol):
    """Compiled conditions. `truths` may be called from many threads."""

    @property
    def name(self) -> str: ...

    def truths(self, stage: str, facts: Facts) -> Mapping[str, Truth]:
        """The truth of every condition of `stage`, by rule id, in the order they were given.

        In a stage compiled with `only_fires`, None may stand for False. Raises EngineFailure.
        """
        ...


class CompileEngine(Protocol):
    def __call__(
        self, stages: Mapping[str, Mapping[str, Condition]], only_fires: Collection[str] = ()
    ) -> Engine:
        """Compiles stage -> rule id -> condition; in the stages of `only_fires` nobody asks what is false.

        Raises RuleTooWide.
        """
        ...


class RuleTooWide(RulebookError):
    """A rule that an engine cannot take; `reason` says why and how to fix it."""

    def __init__(self, rule: str, reason: str, file: str | None = None) -> None:
        self.rule = rule
        self.reason = reason
        self.file = file
        super().__init__([Problem(f'rule "{rule}" {reason}', file=file)])

    def __reduce__(self) -> tuple[type[RuleTooWide], tuple[str, str, str | None]]:
        return RuleTooWide, (self.rule, self.reason, self.file)  # a child process sends it


class EngineFailure(RuntimeError):
    """The engine did not answer. The report fails: "nothing fired" would be a wrong answer."""
