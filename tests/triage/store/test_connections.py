"""Who watches a database is told of its statements, from the first that begins after it asked."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import make_url

from triage.store.connections import Watched, make_engine


def test_a_statement_that_was_under_way_is_not_told_and_does_not_fail(tmp_path: Path) -> None:
    engine = make_engine(make_url(f"sqlite:///{tmp_path}/kept.db"))
    told: list[str] = []

    def someone_asks() -> int:
        Watched(engine).tell(lambda statement, _seconds: told.append(statement))
        return 1

    try:
        with engine.connect() as connection:
            driver = connection.connection.driver_connection
            assert driver is not None
            driver.create_function("someone_asks", 0, someone_asks)
            assert connection.exec_driver_sql("SELECT someone_asks()").scalar_one() == 1
            connection.exec_driver_sql("SELECT 2")
        assert told == ["SELECT 2"]
    finally:
        engine.dispose()
