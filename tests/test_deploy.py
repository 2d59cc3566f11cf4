"""The files of `demo/deploy/`: their readers take them, and what they name is there."""

from __future__ import annotations

import re
import shutil
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests import ROOT
from triage.config import SETTINGS, read_settings

DEPLOY = ROOT / "demo" / "deploy"
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
