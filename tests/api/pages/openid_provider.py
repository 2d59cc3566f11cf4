"""A small OpenID Connect provider on loopback: one client, whoever it is told to be signs in at once."""

from __future__ import annotations

import base64
import hashlib
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from flask import Flask, redirect, request
from flask.typing import ResponseReturnValue
from joserfc import jwt
from joserfc.jwk import RSAKey
from werkzeug.serving import make_server

from triage.config import OpenId

CLIENT, SECRET = "barrelwise", "a secret of the tests"
PAGES = "https://desk.example.com"


@dataclass
class Provider:
    """`who` signs in next; `claims` stand in the token over the usual ones, `userinfo` beside it."""

    issuer: str = ""
    who: dict[str, Any] = field(default_factory=dict)
    userinfo: dict[str, Any] = field(default_factory=dict)
    claims: dict[str, Any] = field(default_factory=dict)
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048))
    signs_with: RSAKey | None = None
    asked: dict[str, dict[str, str]] = field(default_factory=dict)

    def settings(self) -> OpenId:
        return OpenId(self.issuer, CLIENT, SECRET, PAGES)

    def token_for(self, nonce: str) -> str:
        now = int(time.time())
        usual = {"iss": self.issuer, "aud": CLIENT, "sub": "u-1", "iat": now, "exp": now + 60, "nonce": nonce}
        return jwt.encode({"alg": "RS256"}, usual | self.who | self.claims, self.signs_with or self.key)


@contextmanager
def provider() -> Iterator[Provider]:
    made = Provider()
    server = make_server("127.0.0.1", 0, _app(made), threaded=True)
    made.issuer = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield made
    finally:
        server.shutdown()
        thread.join()


def _app(made: Provider) -> Flask:
    app = Flask(__name__)

    @app.get("/.well-known/openid-configuration")
    def metadata() -> ResponseReturnValue:
        at = made.issuer
        return {
            "issuer": at,
            "authorization_endpoint": f"{at}/authorize",
            "token_endpoint": f"{at}/token",
            "userinfo_endpoint": f"{at}/userinfo",
            "jwks_uri": f"{at}/keys",
            "id_token_signing_alg_values_supported": ["RS256"],
        }

    @app.get("/keys")
    def keys() -> ResponseReturnValue:
        return {"keys": [made.key.as_dict(private=False)]}

    @app.get("/authorize")
    def authorize() -> ResponseReturnValue:
        assert request.args["client_id"] == CLIENT
        assert request.args["code_challenge_method"] == "S256"
        assert "openid" in request.args["scope"].split()
        code = f"code-{len(made.asked)}"
        made.asked[code] = request.args.to_dict()
        sent = urlencode({"code": code, "state": request.args["state"]})
        return redirect(f"{request.args['redirect_uri']}?{sent}")

    @app.post("/token")
    def token() -> ResponseReturnValue:
        asked = made.asked.pop(request.form["code"], None)
        proof = hashlib.sha256(request.form["code_verifier"].encode()).digest()
        challenge = base64.urlsafe_b64encode(proof).decode().rstrip("=")
        authorization = request.authorization
        known = authorization is not None and (authorization.username, authorization.password)
        if asked is None or challenge != asked["code_challenge"] or known != (CLIENT, SECRET):
            return {"error": "invalid_grant"}, 400
        return {
            "access_token": "a",
            "token_type": "Bearer",
            "expires_in": 60,
            "id_token": made.token_for(asked["nonce"]),
        }

    @app.get("/userinfo")
    def userinfo() -> ResponseReturnValue:
        assert request.headers["Authorization"] == "Bearer a"
        return made.userinfo

    return app
