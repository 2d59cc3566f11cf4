"""Behind a proxy that speaks TLS and serves the program under a path: nginx, as the distribution has it."""

from __future__ import annotations

import http.client
import json
import shutil
import ssl
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import pytest

from tests import ROOT
from tests.api.test_serve import PATIENCE, Server, free_port, serving
from tests.triage.services import REPORT

NONE = "no nginx was found: install Debian's package `nginx-light` (sh tests/run does, as root)"
MAKE_CERTIFICATE = (
    "openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost"
    " -addext subjectAltName=DNS:localhost"
)
SHIPPED = ROOT / "demo" / "deploy" / "nginx.conf"
OWN_FOLDERS = "".join(
    f"{name}_temp_path {{folder}}/{name};" for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
)


def configuration(folder: Path, port: int, behind: int) -> str:
    """The file for deployments, at this place and serving the program below a path."""
    moved = {
        "/run/nginx.pid": f"{folder}/nginx.pid",
        "/dev/stderr": f"{folder}/error.log",
        "http {": "http {" + OWN_FOLDERS.format(folder=folder),
        "listen 80;": f"listen 127.0.0.1:{free_port()};",
        "listen 443 ssl;": f"listen 127.0.0.1:{port} ssl;",
        "/etc/nginx/tls": str(folder),
        "http://app:8000": f"http://127.0.0.1:{behind}",
        "location /": "location /triage/",
    }
    text = SHIPPED.read_text()
    for written, here in moved.items():
        assert written in text
        text = text.replace(written, here)
    return text


@dataclass
class Proxy:
    port: int
    certificate: Path
    behind: Server

    @property
    def origin(self) -> str:
        return f"https://localhost:{self.port}"

    def ask(
        self, method: str, path: str, headers: Mapping[str, str], body: str = ""
    ) -> tuple[http.client.HTTPResponse, str]:
        trusted = ssl.create_default_context(cafile=self.certificate)
        connection = http.client.HTTPSConnection("localhost", self.port, timeout=PATIENCE, context=trusted)
        with closing(connection):
            connection.request(method, path, body, dict(headers))
            response = connection.getresponse()
            return response, response.read().decode()

    def send(
        self, path: str, form: Mapping[str, str], headers: Mapping[str, str]
    ) -> http.client.HTTPResponse:
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return self.ask("POST", path, kind | dict(headers), urlencode(form))[0]


@pytest.fixture
def proxy(tmp_path: Path) -> Iterator[Proxy]:
    nginx = shutil.which("nginx", path="/usr/sbin:/usr/local/sbin:/usr/bin:/usr/local/bin:/opt/homebrew/bin")
    if nginx is None:
        pytest.fail(NONE, pytrace=False)
    certificate, port = tmp_path / "proxy.pem", free_port()
    subprocess.run(
        [*MAKE_CERTIFICATE.split(), "-keyout", str(tmp_path / "proxy.key"), "-out", str(certificate)],
        check=True,
        capture_output=True,
    )
    settings = {"BARRELWISE_TRUSTED_PROXY": "127.0.0.1", "BARRELWISE_URL": "https://localhost/triage"}
    with serving(tmp_path, **settings) as behind:
        (tmp_path / "nginx.conf").write_text(configuration(tmp_path, port, behind.port))
        command = [nginx, "-c", str(tmp_path / "nginx.conf"), "-p", str(tmp_path), "-e", str(tmp_path / "e")]
        subprocess.run(command, check=True, capture_output=True)  # it comes back once it listens
        try:
            yield Proxy(port, certificate, behind)
        finally:
            subprocess.run([*command, "-s", "quit"], check=True, capture_output=True)


def signed_in(proxy: Proxy) -> str:
    """The cookie of a session, as a browser sends it back."""
    answer = proxy.send("/triage/sign-in", {"token": proxy.behind.token, "next": "/report"}, {})
    assert (answer.status, answer.headers["Location"]) == (302, "/triage/report")
    cookie, *attributes = answer.headers["Set-Cookie"].split("; ")
    assert {"Secure", "HttpOnly", "Path=/triage", "SameSite=Strict"} <= set(attributes)
    return str(cookie)


def test_signing_in_works_behind_tls_and_a_path(proxy: Proxy) -> None:
    answer, _ = proxy.ask("GET", "/triage/report", {})
    assert (answer.status, answer.headers["Location"]) == (302, "/triage/sign-in?next=/report")
    cookie = signed_in(proxy)
    answer, page = proxy.ask("GET", "/triage/report", {"Cookie": cookie})
    assert answer.status == 200
    assert 'href="/triage/static/' in page
    assert 'href="/sign-' not in page


def test_forms_come_from_the_address_that_the_browser_sees(proxy: Proxy) -> None:
    cookie, form = {"Cookie": signed_in(proxy)}, {"language": "es", "next": "/report"}
    answer = proxy.send("/triage/language", form, cookie | {"Origin": proxy.origin})
    assert (answer.status, answer.headers["Location"]) == (303, "/triage/report")
    inside = f"http://127.0.0.1:{proxy.behind.port}"
    assert proxy.send("/triage/language", form, cookie | {"Origin": inside}).status == 403


def test_links_of_the_api_lead_through_the_proxy(proxy: Proxy) -> None:
    bearer = {"Authorization": f"Bearer {proxy.behind.token}", "Content-Type": "application/json"}
    answer, _ = proxy.ask("POST", "/triage/v1/reports", bearer, json.dumps(REPORT))
    assert answer.status == 201
    where = answer.headers["Location"]
    assert where.startswith("/triage/v1/tickets/T-")
    assert proxy.ask("GET", where, bearer)[0].status == 200


def test_the_outside_gets_no_metrics_and_is_told_to_come_by_tls_again(proxy: Proxy) -> None:
    bearer = {"Authorization": f"Bearer {proxy.behind.token}"}
    assert proxy.behind.metrics().startswith("# HELP")
    answer, _ = proxy.ask("GET", "/triage/metrics", bearer)
    assert (answer.status, answer.headers["Server"]) == (404, "nginx")
    assert answer.headers["Strict-Transport-Security"]


def test_nobody_else_is_believed(tmp_path: Path) -> None:
    claims = {
        "X-Forwarded-Proto": "https",
        "X-Forwarded-Host": "elsewhere.example",
        "X-Forwarded-For": "1.2.3.4",
    }
    with serving(tmp_path, BARRELWISE_TRUSTED_PROXY="192.0.2.1") as server:
        connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=PATIENCE)
        with closing(connection):
            kind = {"Content-Type": "application/x-www-form-urlencoded"}
            connection.request("POST", "/sign-in", urlencode({"token": server.token}), kind | claims)
            answer = connection.getresponse()
            assert answer.status == 302
            assert "Secure" not in answer.headers["Set-Cookie"]
            assert answer.headers["Location"] == "/"
