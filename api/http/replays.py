"""Starts a replay of a candidate."""

from __future__ import annotations

from datetime import datetime
from typing import cast

from flask import current_app

from api.http.auth import caller, service
from triage.service import rulebooks

LAUNCHER = "barrelwise_replays"
"""The app's extension that carries out replays in the background."""


def start_replay(version: str, since: datetime | None) -> rulebooks.ReplayRun:
    """Asks for a replay in the background, in the caller's name."""
    launcher = cast(rulebooks.Launcher, current_app.extensions[LAUNCHER])
    return rulebooks.start_replay(service(), launcher, version, since, caller())
