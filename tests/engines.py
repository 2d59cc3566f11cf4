"""The engines that run on this Python: where durable cannot be imported, nothing is said about it."""

from __future__ import annotations

from triage.logic.engine_checked import engine_note

ENGINES = ("plain", "durable", "checked") if engine_note() is None else ("plain",)
