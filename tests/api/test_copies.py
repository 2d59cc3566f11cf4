"""Another program keeps a copy of the SQLite database that is served: the disk is lost, all comes back."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
import yaml

from tests import ROOT
from tests.api.test_serve import PATIENCE, Server, ended, server
from triage.store import open_store

__all__ = ["server"]

LITESTREAM = shutil.which("litestream", path=str(Path(sys.executable).parent)) or shutil.which("litestream")
REPORTS = 12


@pytest.fixture
def settings(server: Server, tmp_path: Path) -> Path:
    """Those of `demo/deploy`, with the paths of here."""
    told = yaml.safe_load((ROOT / "demo" / "deploy" / "copies.yml").read_text(encoding="utf-8"))
    (database,) = told["dbs"]
    database["path"] = str(server.database)
    database["replica"]["path"] = str(tmp_path / "copies")
    path = tmp_path / "copies.yml"
    path.write_text(yaml.safe_dump(told))
    return path


@contextmanager
def copying(settings: Path) -> Iterator[subprocess.Popen[str]]:
    """Copies from when the first whole copy is made."""
    command = [str(LITESTREAM), "replicate", "-config", str(settings)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    with ended(process):
        assert process.stdout is not None
        assert any("snapshot complete" in line for line in process.stdout)
        yield process


@pytest.mark.skipif(LITESTREAM is None, reason="litestream is not installed (the extra `copies`)")
def test_what_was_answered_is_in_the_copy_once_the_copier_has_ended(
    server: Server, settings: Path, tmp_path: Path
) -> None:
    with copying(settings) as copier:
        told = {server.report(str(number)) for number in range(REPORTS)}
        copier.terminate()  # it copies what is left before it ends
        copier.communicate(timeout=PATIENCE)
    restored = tmp_path / "restored.db"
    back = ["restore", "-config", str(settings), "-o", str(restored), str(server.database)]
    subprocess.run([str(LITESTREAM), *back], check=True, capture_output=True, timeout=PATIENCE)
    with closing(open_store(f"sqlite:///{restored}")) as store, store.read() as work:
        assert list(work.verification.findings()) == []
        assert {ticket for ticket in told if work.tickets.get(ticket).state == "open"} == told
