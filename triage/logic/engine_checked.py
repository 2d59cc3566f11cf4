"""The checked engine: one engine fires, the plain one verifies in the same call.

Where they differ, plain's answer stands, and the difference is logged and counted: it means that the firing
engine cannot be trusted with that rulebook.

Which inference engine serves: one name in, the function that compiles it out.

The caller reads the setting (`BARRELWISE_ENGINE`) and passes its value in. The durable engine's C extension
does not import on Python 3.13 and later; there plain serves alone, and `engine_note` says so.
"""

import logging
from collections.abc import Callable, Collection, Mapping
from threading import Lock

from triage.logic.conditions import Condition, Facts, Truth
from triage.logic.engine import CompileEngine, Engine
from triage.logic.engine_plain import compile_plain
from triage.values.errors import InputError

_log = logging.getLogger(__name__)


class CheckedEngine:
    """An `Engine` of two. `disagreements` counts the rules answered differently since it was compiled."""

    name = "checked"

    def __init__(self, firing: Engine, verifying: Engine, only_fires: Collection[str]) -> None:
        self._firing = firing
        self._verifying = verifying
        self._only_fires = frozenset(only_fires)
        self._lock = Lock()
        self._disagreements = 0

    @property
    def disagreements(self) -> int:
        return self._disagreements

    def truths(self, stage: str, facts: Facts) -> Mapping[str, Truth]:
        fired = self._firing.truths(stage, facts)
        right = self._verifying.truths(stage, facts)
        only_fires = stage in self._only_fires
        if (_true_in(fired) != _true_in(right)) if only_fires else fired != right:
            self._compare(stage, fired, right)
        return right

    def _compare(self, stage: str, fired: Mapping[str, Truth], right: Mapping[str, Truth]) -> None:
        only_fires = stage in self._only_fires
        for rule, truth in right.items():
            said = fired.get(rule)
            if (said is True) != (truth is True) if only_fires else said is not truth:
                with self._lock:
                    self._disagreements += 1
                _log.error(
                    'engines disagree on rule "%s" (%s): %s says %s, %s says %s, which stands',
                    rule,
                    stage,
                    self._firing.name,
                    said,
                    self._verifying.name,
                    truth,
                )


def _true_in(truths: Mapping[str, Truth]) -> set[str]:
    return {rule for rule, truth in truths.items() if truth}


def checked_by_plain(compile_firing: CompileEngine) -> CompileEngine:
    """The compiler of a checked engine whose rules `compile_firing`'s engine fires."""

    def compile_checked(
        stages: Mapping[str, Mapping[str, Condition]], only_fires: Collection[str] = ()
    ) -> CheckedEngine:
        return CheckedEngine(
            compile_firing(stages, only_fires), compile_plain(stages, only_fires), only_fires
        )

    return compile_checked


ENGINE_NAMES = ("checked", "durable", "plain")


def import_durable() -> CompileEngine:
    """The durable engine's compiler. Raises ImportError where its C extension does not load."""
    from triage.logic.engine_durable import compile_durable

    return compile_durable


def choose_engine(
    name: str = "checked", durable: Callable[[], CompileEngine] = import_durable
) -> CompileEngine:
    """The compiler of the engine of that name; plain's where the durable one cannot be imported.

    `durable` gives the durable engine's compiler. Raises InputError on an unknown name.
    """
    if name not in ENGINE_NAMES:
        raise InputError(f'there is no engine "{name}"; use one of {", ".join(ENGINE_NAMES)}')
    if name == "plain":
        return compile_plain
    try:
        compile_durable = durable()
    except ImportError:
        return compile_plain
    return compile_durable if name == "durable" else checked_by_plain(compile_durable)


def engine_note(name: str = "checked", durable: Callable[[], CompileEngine] = import_durable) -> str | None:
    """What the operator should know: that plain serves instead of the engine asked for, and why; or None."""
    if name == "plain":
        return None
    try:
        durable()
    except ImportError as error:
        return (
            f'the plain engine serves alone instead of "{name}": durable_rules cannot be imported ({error})'
        )
    return None
