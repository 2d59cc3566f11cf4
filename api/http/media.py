"""Answers in another form than JSON, where the client's Accept asks for it."""

from __future__ import annotations

from flask import Response, request


def wants(other: str) -> bool:
    """Whether the client asks for `other` rather than JSON."""
    return request.accept_mimetypes.best_match(["application/json", other]) == other


def as_text(content: str, media_type: str) -> Response:
    """A text answer where JSON is the usual one."""
    response = Response(content, content_type=f"{media_type}; charset=utf-8")
    response.headers["Vary"] = "Accept"
    return response
