"""Every door there is; a new one is a generator with `@door` in one of MODULES."""

from __future__ import annotations

from importlib import import_module

from tests.fuzz.door import DOORS

MODULES = ("texts", "rules", "records", "web", "uploads")

for module in MODULES:
    import_module(f"tests.fuzz.{module}")

__all__ = ["DOORS", "MODULES"]
