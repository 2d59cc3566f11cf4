"""Barrelwise's tests; the folders mirror `triage/` and `api/`."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).parent.parent
RULES = ROOT / "rules"
"""The default rulebook."""
