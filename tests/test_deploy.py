"""The files of `demo/deploy/`: their readers take them, and what they name is there."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml
from prometheus_client.parser import text_string_to_metric_families

from tests import ROOT
from tests.api.conftest import Send, client, send, service, tokens
from tests.triage.services import REPORT
from triage.config import SETTINGS, read_settings

__all__ = ["client", "send", "service", "tokens"]

DEPLOY = ROOT / "demo" / "deploy"
EMPTY = {
    "barrelwise_replays",
    "barrelwise_not_sent",
    "barrelwise_not_sent_seconds",
    "barrelwise_logged_total",
}
"""What there is only once something was replayed, told or logged."""
KNOWN = {name for name, _, _ in SETTINGS}


def test_every_setting_that_is_named_there_exists() -> None:
    named = {
        name for file in DEPLOY.iterdir() for name in re.findall(r"BARRELWISE_[A-Z_]+", file.read_text())
    }
    assert named
    assert named <= KNOWN


def test_the_settings_of_the_unit_can_be_read() -> None:
    lines = (DEPLOY / "barrelwise.env").read_text().splitlines()
    given = dict(line.split("=", 1) for line in lines if not line.startswith("#"))
    assert read_settings(given).server.trusted_proxy == "127.0.0.1"


def test_systemd_takes_the_unit_and_its_socket(tmp_path: Path) -> None:
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.skip("systemd is not on this machine")
    for name in ("barrelwise.service", "barrelwise.socket"):
        text = (DEPLOY / name).read_text()
        (tmp_path / name).write_text(text.replace("/opt/barrelwise/bin/barrelwise", "/bin/true"))
    done = subprocess.run(
        [analyze, "verify", *map(str, sorted(tmp_path.iterdir()))], capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_alerts_and_dashboard_ask_for_what_there_is(send: Send) -> None:
    opened = send("POST", "/v1/reports", REPORT)
    assert opened.status_code == 201
    there = {
        sample.name
        for family in text_string_to_metric_families(send("GET", "/metrics", by="reporter").text)
        for sample in family.samples
    } | EMPTY
    for name in ("alerts.yml", "dashboard.json"):
        text = (DEPLOY / name).read_text()
        named = set(re.findall(r"barrelwise_[a-z_]+", text))
        assert named
        assert named <= there, name
    titles = [panel["title"] for panel in json.loads((DEPLOY / "dashboard.json").read_text())["panels"]]
    assert len(set(titles)) == len(titles) >= 8


def test_prometheus_takes_the_alerts_and_raises_them_when_it_should() -> None:
    promtool = shutil.which("promtool")
    if promtool is None:
        pytest.skip("promtool (Debian's package `prometheus`) is not on this machine")
    for words in (
        "check rules alerts.yml",
        "test rules alerts_test.yml",
        "check config --syntax-only prometheus.yml",
    ):
        done = subprocess.run([promtool, *words.split()], cwd=DEPLOY, capture_output=True, text=True)
        assert done.returncode == 0, done.stdout + done.stderr


def composed() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load((DEPLOY / "compose.yml").read_text())
    return found


def test_compose_reaches_the_database_and_the_program_from_inside_alone() -> None:
    services, networks = composed()["services"], composed()["networks"]
    assert networks["inside"]["internal"] is True
    published = {
        name for name, service in services.items() if "ports" in service or "outside" in service["networks"]
    }
    assert published == {"proxy"}
    assert "database" in services["app"]["environment"]["BARRELWISE_DATABASE"]
    assert "proxy_pass http://app:8000;" in (DEPLOY / "nginx.conf").read_text()


def test_compose_says_no_password_and_mounts_what_is_there() -> None:
    text = (DEPLOY / "compose.yml").read_text()
    assert re.findall(r"PASSWORD: (.*)", text) == ["${DATABASE_PASSWORD:?write it into .env}"]
    assert "barrelwise:${DATABASE_PASSWORD}@database" in text
    volumes = [each for service in composed()["services"].values() for each in service["volumes"]]
    for source in (volume.split(":")[0] for volume in volumes):
        if source.startswith("./"):
            assert (DEPLOY / source).exists() or source == "./tls"
        else:
            assert source in composed()["volumes"]
    assert (DEPLOY / composed()["services"]["app"]["build"]["context"]).resolve() == ROOT


def test_the_container_installs_extras_that_exist_and_copies_no_database_along() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    (extras,) = re.findall(r"/source\[([a-z,]+)\]", (DEPLOY / "Containerfile").read_text())
    assert set(extras.split(",")) <= set(project["optional-dependencies"])
    (program,) = re.findall(r'ENTRYPOINT \["([a-z]+)"\]', (DEPLOY / "Containerfile").read_text())
    assert program in project["scripts"]
    left_out = (DEPLOY / "Containerfile.dockerignore").read_text().split()
    assert {"var", "**/*.db*", "**/*.sqlite*", "**/.env", ".git", "demo/deploy/tls"} <= set(left_out)
