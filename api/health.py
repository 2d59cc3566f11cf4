"""Whether the server lives, and on which rulebook: no token asked."""

from __future__ import annotations

from flask import Blueprint, jsonify
from flask.typing import ResponseReturnValue

from api.auth import programme

blueprint = Blueprint("health", __name__)


@blueprint.get("/healthz")
@blueprint.get("/v1/healthz")
def healthz() -> ResponseReturnValue:
    return jsonify(programme().health())
