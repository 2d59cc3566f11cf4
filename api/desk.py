"""The agents' desk as one part of the app: its texts, its tools, its pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from flask import Flask, current_app

from api import desk_texts
from api.desk_presence import Presence
from api.desk_search import MachineFinder
from triage.programme import Programme


@dataclass(frozen=True, slots=True)
class DeskTools:
    presence: Presence
    finder: MachineFinder


def init_app(app: Flask, programme: Programme) -> None:
    """Registers the pages and what they share."""
    from api.pages import blueprint as pages
    from api.pages_book import blueprint as book
    from api.pages_call import blueprint as call
    from api.pages_changes import blueprint as changes
    from api.pages_figures import blueprint as figures
    from api.pages_find import blueprint as find
    from api.pages_list import blueprint as open_tickets
    from api.pages_release import blueprint as release
    from api.pages_report import blueprint as report
    from api.pages_rulebook import blueprint as rulebook_files
    from api.pages_what_if import blueprint as what_if

    desk_texts.init_texts(app)
    app.extensions["barrelwise_desk"] = DeskTools(Presence(programme.store), MachineFinder(programme))
    agents = (pages, open_tickets, find, report, call, what_if)
    for blueprint in (*agents, release, rulebook_files, book, changes, figures):
        app.register_blueprint(blueprint)


def tools() -> DeskTools:
    """The presence and the search of this app."""
    return cast(DeskTools, current_app.extensions["barrelwise_desk"])
