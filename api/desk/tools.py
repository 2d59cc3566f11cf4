"""The agents' desk as one part of the app: its texts, its tools, its pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from flask import current_app

from api.desk.presence import Presence
from api.desk.search import MachineFinder


@dataclass(frozen=True, slots=True)
class DeskTools:
    presence: Presence
    finder: MachineFinder


def tools() -> DeskTools:
    """The presence and the search of this app."""
    return cast(DeskTools, current_app.extensions["barrelwise_desk"])
