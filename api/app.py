"""The app factory: one Service in, one Flask app out."""

from __future__ import annotations

import re
from collections.abc import Collection
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from apispec import BasePlugin
from flask import Flask, g
from flask_smorest import Api
from werkzeug.wrappers import Response

from api.desk import call, find, report
from api.desk import list as open_tickets
from api.field import authority, own
from api.field import installs as field_installs
from api.field import start as field_start
from api.field import ticket as field_ticket
from api.fleet import care as fleet_care
from api.fleet import overview as fleet_overview
from api.fleet import training as fleet_training
from api.help import pages as help_pages
from api.help.pages import DOCUMENT
from api.http import auth, health, problems
from api.http.json_bodies import ExactJSONProvider
from api.http.lane import init_lane
from api.http.watching import init_watching
from api.http.work_folder import LAUNCHER
from api.life import steps as life
from api.ops import acting as acting_page
from api.ops import book, changes, files, forms, release
from api.ops import numbers as numbers_page
from api.ops import simulate as simulate_page
from api.ops import what_if as what_if_page
from api.pages import provider, sign_in, words
from api.pages import texts as desk_texts
from api.pages.bill_form import kind_words
from api.pages.people import in_words
from api.pages.search import FINDER, MachineFinder
from api.v1 import (
    machines,
    numbers,
    photos,
    repairs,
    replays,
    rulebook,
    rulebook_files,
    swaps,
    tickets,
    visits,
    what_if,
)
from api.v1.installs import jobs as installs
from api.v1.installs import training
from api.v1.lookups import lookups
from api.v1.schemas import ProblemOut
from api.v1.shapes.examples import EXAMPLES, show_example
from triage.config import OpenId
from triage.rulebook.built_in_facts import ASSUMED, LOCAL_CODES
from triage.service import rulebooks
from triage.service.service import Service

MAX_BODY_BYTES = 256 * 1024

ROUTES = (
    tickets.blueprint,
    machines.blueprint,
    rulebook.blueprint,
    rulebook_files.blueprint,
    replays.blueprint,
    visits.blueprint,
    photos.blueprint,
    installs.blueprint,
    training.blueprint,
    swaps.blueprint,
    repairs.blueprint,
    numbers.blueprint,
    what_if.blueprint,
    lookups.blueprint,
)
"""In the order of the API's description."""

PAGES = (
    health.blueprint,
    sign_in.blueprint,
    open_tickets.blueprint,
    find.blueprint,
    report.blueprint,
    call.blueprint,
    authority.blueprint,
    field_start.blueprint,
    life.blueprint,
    own.blueprint,
    field_ticket.blueprint,
    fleet_overview.blueprint,
    field_installs.blueprint,
    fleet_care.blueprint,
    fleet_training.blueprint,
    help_pages.blueprint,
    what_if_page.blueprint,
    release.blueprint,
    files.blueprint,
    forms.blueprint,
    book.blueprint,
    changes.blueprint,
    numbers_page.blueprint,
    acting_page.blueprint,
    simulate_page.blueprint,
)


def answer_headers(taken: Collection[str | None], *, created: bool) -> dict[str, Any]:
    """Headers of an answer to a request that takes the headers `taken`, as OpenAPI."""
    said = {"X-Request-Id": "What the log calls this request; one that was sent is kept"}
    said |= {"ETag": "The version it has now, for If-Match"} if "If-Match" in taken else {}
    said |= {"Location": "Where what was made is found"} if created else {}
    said |= {"Idempotency-Replayed": "`true` where the key was known"} if "Idempotency-Key" in taken else {}
    return {name: {"description": words, "schema": {"type": "string"}} for name, words in said.items()}


class Described(BasePlugin):
    """Names each operation after its method and path, so that generated clients have names that stay.

    Says which headers come with its answers, and shows each body whole.
    """

    def operation_helper(
        self, path: str | None = None, operations: dict[str, Any] | None = None, **_: object
    ) -> None:
        for method, operation in (operations or {}).items():
            for each in (operation.get("requestBody", {}), *operation.get("responses", {}).values()):
                show_example(each)
            words = re.findall(r"[a-z]+", str(path).removeprefix("/v1"))
            operation.setdefault("operationId", "_".join((method, *words)))
            taken = {each.get("name") for each in operation.get("parameters", ()) if isinstance(each, dict)}
            for status, answer in operation.get("responses", {}).items():
                if str(status).startswith("2") and isinstance(answer, dict):
                    sent = answer_headers(taken, created=str(status) == "201")
                    answer.setdefault("headers", {}).update(sent)


class ProblemApi(Api):
    """Leaves all errors to `problems`, and describes them as what they are."""

    ERROR_SCHEMA = ProblemOut

    def _register_responses(self) -> None:
        usual = str(Api.DEFAULT_RESPONSE_CONTENT_TYPE)
        self.DEFAULT_RESPONSE_CONTENT_TYPE = "application/problem+json"
        super()._register_responses()
        self.DEFAULT_RESPONSE_CONTENT_TYPE = usual

    def _register_error_handlers(self) -> None:
        problems.register(self._app)


def create_app(service: Service, folder: Path | None = None, openid: OpenId | None = None) -> Flask:
    """A Flask app for one program. Reads no settings and opens nothing by itself.

    `folder` is where the rulebook's files lie, for the pages that edit them; None: there are none to edit.
    `openid` is a provider to sign in by.
    """
    app = Flask("api", static_folder="static", template_folder="templates")
    app.json = ExactJSONProvider(app)
    app.config.update(
        MAX_CONTENT_LENGTH=MAX_BODY_BYTES,
        API_TITLE="Barrelwise",
        API_VERSION="1",
        OPENAPI_VERSION="3.1.0",
        OPENAPI_URL_PREFIX="/",
        OPENAPI_JSON_PATH="openapi.json",
        API_SPEC_OPTIONS={
            "info": {
                "description": "Triage for trouble reports on frozen-drink dispensers. "
                f"{LOCAL_CODES}\n\n{ASSUMED}"
            },
            "components": {"securitySchemes": {"token": {"type": "http", "scheme": "bearer"}}},
            "security": [{"token": []}],
        },
    )
    app.extensions["barrelwise"] = service
    app.extensions[LAUNCHER] = rulebooks.launcher(service)
    app.extensions["barrelwise_folder"] = folder
    init_watching(app)
    app.before_request(_keep_one_rulebook)
    app.teardown_request(_let_rulebook_go)
    app.before_request(_no_caller_yet)
    app.before_request(auth.refuse_foreign_forms)
    init_lane(app)
    app.after_request(_own_origin_only)
    app.url_map.strict_slashes = False
    api = ProblemApi(app, spec_kwargs={"extra_plugins": [Described()]})
    app.extensions[DOCUMENT] = api.spec
    for name, whole in EXAMPLES.items():
        api.spec.components.example(name, {"value": whole})
    for blueprint in ROUTES:
        api.register_blueprint(blueprint)
    desk_texts.init_texts(app)
    app.jinja_env.filters |= {
        "cents": words.cents_words,
        "dollars": words.dollars_words,
        "line_kind": kind_words,
        "people": lambda said, zone="UTC": in_words(service.rulebook, str(said), zone),
    }
    app.jinja_env.globals |= {each.__name__: each for each in words.IN_TEMPLATES}
    app.context_processor(lambda: {"rulebook": service.rulebook, "now": service.now()})
    app.extensions[FINDER] = MachineFinder(service)
    for page in PAGES:
        app.register_blueprint(page)
    provider.init_provider(app, openid)
    return app


def _keep_one_rulebook() -> None:
    """A request finishes with the version of the rulebook it started with."""
    g.rulebook = ExitStack()
    g.rulebook.enter_context(auth.service().one_version())


def _let_rulebook_go(_error: BaseException | None) -> None:
    if "rulebook" in g:
        g.rulebook.close()


def _no_caller_yet() -> None:
    g.caller = None


def _own_origin_only(response: Response) -> Response:
    response.headers.setdefault(
        "Content-Security-Policy",
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    )
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
    response.headers.setdefault("Referrer-Policy", "same-origin")
    response.headers.setdefault("Cache-Control", "no-store")
    return response
