"""Which inference engine serves: one name in, the function that compiles it out.

The caller reads the setting (`BARRELWISE_ENGINE`) and passes its value in. The durable engine's C extension
does not import on Python 3.13 and later; there plain serves alone, and `engine_note` says so.
"""

from __future__ import annotations

from collections.abc import Callable

from triage.logic.engine import CompileEngine
from triage.logic.engine_checked import checked_by_plain
from triage.logic.engine_plain import compile_plain
from triage.values.errors import InputError

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
