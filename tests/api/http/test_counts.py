"""The counts of several processes are added up while others start and end."""

from pathlib import Path

from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.mmap_dict import MmapedDict, mmap_key

from api.http.watching import Counts


def test_a_process_that_has_only_opened_its_file_has_counted_nothing(tmp_path: Path) -> None:
    (tmp_path / "counter_2.db").touch()
    kept = MmapedDict(str(tmp_path / "counter_1.db"))  # type: ignore[no-untyped-call]
    kept.write_value(mmap_key("sent", "sent_total", [], [], "Sent"), 3.0, 0.0)  # type: ignore[no-untyped-call]
    kept.close()  # type: ignore[no-untyped-call]
    registry = CollectorRegistry()
    Counts(registry, str(tmp_path))
    assert b"sent_total 3.0" in generate_latest(registry)
