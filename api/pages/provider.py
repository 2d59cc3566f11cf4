"""Sign-in by an OpenID Connect provider: who a token with that e-mail address belongs to gets a session.

OpenID Connect Core 1.0, section 3.1 (authorization code flow), with PKCE (RFC 7636), by Authlib. What
somebody may do stands with the token here, never with the provider.
"""

from hashlib import sha256
from typing import Any

from flask import Blueprint, Flask, current_app, render_template, request, session
from flask.typing import ResponseReturnValue

from api.http.auth import COOKIE, service
from api.pages.sign_in import keep, own_path
from triage.config import OpenId
from triage.service import requests

blueprint = Blueprint("provider", __name__)
CLIENT = "barrelwise_provider"
SECONDS = 5
"""How long the provider may take to answer."""


def init_provider(app: Flask, settings: OpenId | None) -> None:
    """Without settings there is no such way in. Between the two steps a signed cookie holds the state."""
    app.jinja_env.globals["has_provider"] = lambda: settings is not None
    if settings is None:
        return
    from authlib.integrations.flask_client import OAuth

    app.secret_key = sha256(f"sign-in state {settings.secret}".encode()).digest()
    app.config.update(
        SESSION_COOKIE_NAME="barrelwise_sign_in",
        SESSION_COOKIE_SAMESITE="Lax",  # it has to come along from the provider
        SESSION_COOKIE_SECURE=settings.url.startswith("https:"),
    )
    client = OAuth(app).register(
        CLIENT,
        client_id=settings.client,
        client_secret=settings.secret,
        server_metadata_url=f"{settings.issuer.rstrip('/')}/.well-known/openid-configuration",
        client_kwargs={
            "scope": "openid email",
            "code_challenge_method": "S256",
            "default_timeout": SECONDS,
            "leeway": 0,  # the access token is used at once, however short its life
        },
    )
    app.extensions[CLIENT] = client, settings
    app.register_blueprint(blueprint)


@blueprint.get("/sign-in/provider")
def begin() -> ResponseReturnValue:
    client, settings = current_app.extensions[CLIENT]
    session["next"] = own_path(request.args.get("next", ""))
    try:
        sent: ResponseReturnValue = client.authorize_redirect(f"{settings.url}/sign-in/provider/return")
    except Exception as error:  # what a provider answers, or not, comes as errors of four libraries
        return _not_answered(error)
    return sent


@blueprint.get("/sign-in/provider/return")
def back() -> ResponseReturnValue:
    from authlib.integrations.base_client import OAuthError
    from joserfc.errors import JoseError

    client, settings = current_app.extensions[CLIENT]
    target = own_path(session.get("next", ""))
    try:
        claims = _claims(client, settings)
    except (OAuthError, JoseError) as error:
        current_app.logger.warning("a sign-in by the provider was refused: %s", error.error)
        return _refused("refused", target)
    except Exception as error:
        return _not_answered(error)
    finally:
        session.clear()
    address = str(claims.get("email") or "")
    if not address or claims.get("email_verified") is not True:
        return _refused("unverified", target)
    held = requests.sign_in_as(service(), address)
    if held is None:
        return _refused("stranger", target, address)
    # A page and not a redirect: the cookie is strict, and goes along only from a page of our own.
    page = current_app.make_response(render_template("signed_in.html", target=request.root_path + target))
    return keep(page, COOKIE, held)


def _claims(client: Any, settings: OpenId) -> dict[str, Any]:
    """What the provider's signed token says, and its userinfo where the token has no e-mail address."""
    issuer = {"essential": True, "value": settings.issuer}
    token = client.authorize_access_token(claims_options={"iss": issuer})
    claims = dict(token.get("userinfo") or {})
    if claims and "email" not in claims and client.load_server_metadata().get("userinfo_endpoint"):
        more = client.userinfo(token=token)
        if more.get("sub") == claims["sub"]:  # Core 1.0, section 5.3.2
            claims |= {name: more.get(name) for name in ("email", "email_verified")}
    return claims


def _refused(why: str, target: str, address: str = "") -> ResponseReturnValue:
    return render_template("sign_in.html", provider=why, address=address, next=target), 403


def _not_answered(error: Exception) -> ResponseReturnValue:
    current_app.logger.error("the sign-in provider does not serve: %s", type(error).__name__)
    page = render_template("sign_in.html", provider="away", next="/")
    return page, 503, {"Retry-After": "30"}
