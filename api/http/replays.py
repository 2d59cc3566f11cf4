"""Starts a replay of a candidate."""

from __future__ import annotations

from datetime import datetime
from typing import cast

from flask import current_app

from api.http.auth import caller, service
from triage.rulebook_care.release import publishing
from triage.rulebook_care.release import runs as replay_runs
from triage.rulebook_care.release.background import Launcher
from triage.store.tables.replay_runs import ReplayRun

LAUNCHER = "barrelwise_replays"
"""The app's extension that carries out replays in the background."""


def start_replay(version: str, since: datetime | None) -> ReplayRun:
    """Asks for a replay in the background, in the caller's name."""
    store, now = service().store, service().now()
    run, fresh = replay_runs.start(store, publishing.kept_version(store, version), since, caller().name, now)
    if fresh:
        cast(Launcher, current_app.extensions[LAUNCHER]).launch(run)
    return replay_runs.find(store, run.id, now)
