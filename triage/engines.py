"""Which inference engine serves: one name in, the function that compiles it out.

The caller reads the setting (`BARRELWISE_ENGINE`) and passes its value in.
"""

from __future__ import annotations

from triage.engine_plain import compile_plain
from triage.errors import InputError
from triage.inference_engine import CompileEngine

ENGINE_NAMES = ("checked", "durable", "plain")


def choose_engine(name: str = "checked") -> CompileEngine:
    """The compiler of the engine of that name. Raises InputError on any other name."""
    if name not in ENGINE_NAMES:
        raise InputError(f'there is no engine "{name}"; use one of {", ".join(ENGINE_NAMES)}')
    return compile_plain
