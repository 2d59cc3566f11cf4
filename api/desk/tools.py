"""The agents' desk as one part of the app: its texts, its tools, its pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from flask import Flask, current_app

from api.desk.presence import Presence
from api.desk.search import MachineFinder
from api.pages import texts as desk_texts
from triage.service.service import Programme


@dataclass(frozen=True, slots=True)
class DeskTools:
    presence: Presence
    finder: MachineFinder


def init_app(app: Flask, programme: Programme) -> None:
    """Registers the pages and what they share."""
    from api.desk.call import blueprint as call
    from api.desk.find import blueprint as find
    from api.desk.list import blueprint as open_tickets
    from api.desk.report import blueprint as report
    from api.ops.book import blueprint as book
    from api.ops.changes import blueprint as changes
    from api.ops.files import blueprint as rulebook_files
    from api.ops.numbers import blueprint as figures
    from api.ops.release import blueprint as release
    from api.ops.what_if import blueprint as what_if
    from api.pages.sign_in import blueprint as pages

    desk_texts.init_texts(app)
    app.extensions["barrelwise_desk"] = DeskTools(Presence(programme.store), MachineFinder(programme))
    agents = (pages, open_tickets, find, report, call, what_if)
    for blueprint in (*agents, release, rulebook_files, book, changes, figures):
        app.register_blueprint(blueprint)


def tools() -> DeskTools:
    """The presence and the search of this app."""
    return cast(DeskTools, current_app.extensions["barrelwise_desk"])
