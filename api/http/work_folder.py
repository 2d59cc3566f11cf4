"""The rulebook's folder that this server edits, the process that checks it, and replays that are started."""

from datetime import datetime
from pathlib import Path
from typing import cast

from flask import current_app

from api.http.auth import caller, service
from triage.rulebook_care.editing.check_process import CheckProcess
from triage.rulebook_care.editing.files import WorkFolder
from triage.service import rulebooks
from triage.values.errors import NotFoundError

CHECKS = "barrelwise_folder_checks"
"""The app's extension that checks edited texts."""

MOST_FORM_BYTES = 1024 * 1024  # a text of 256 KiB, escaped as forms are


class NoFolder(NotFoundError):
    """This server edits no folder of rules."""


def work_folder() -> WorkFolder:
    """The folder that this server edits. Raises NoFolder."""
    folder = cast(Path | None, current_app.extensions.get("barrelwise_folder"))
    if folder is None:
        raise NoFolder("this server was given no folder of rules to edit; BARRELWISE_RULEBOOK names one")
    return WorkFolder(folder)


def checks() -> CheckProcess:
    """What checks texts for this app, in a process of its own. Raises NoFolder."""
    kept = current_app.extensions.get(CHECKS)
    if kept is None:
        kept = current_app.extensions.setdefault(CHECKS, CheckProcess(work_folder().root))
    return cast(CheckProcess, kept)


LAUNCHER = "barrelwise_replays"
"""The app's extension that carries out replays in the background."""


def start_replay(version: str, since: datetime | None) -> rulebooks.ReplayRun:
    """Asks for a replay in the background, in the caller's name."""
    launcher = cast(rulebooks.Launcher, current_app.extensions[LAUNCHER])
    return rulebooks.start_replay(service(), launcher, version, since, caller())
