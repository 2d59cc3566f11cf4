"""Names, signatures and notes of people apart from the logs of care and of installations, so that they go."""

from collections.abc import Iterator, Sequence
from typing import Any

import sqlalchemy as sa
from alembic import op

from triage.records.callers_words import care_apart, install_apart, together
from triage.values.json_text import from_json, to_json

revision = "0045"
down_revision = "0044"

AT_ONCE = 500
CARE = sa.table("care_events", *map(sa.column, ("id", "kind", "by", "details", "words")))
EVENTS = sa.table("install_events", *map(sa.column, ("install", "seq", "kind", "payload", "words")))
TRAININGS = sa.table("trainings", *map(sa.column, ("id", "install", "seq", "by")))
RULEBOOKS = sa.table("rulebooks", *map(sa.column, ("version", "files")))
SAID = {
    "care_events": 'id, serial, kind, at, "by", details',
    "install_events": "install, seq, kind, at, who, payload",
}
"""Columns that never change; words only get fewer."""
FEWER = "NEW.words IS NOT NULL AND (OLD.words IS NULL OR length(NEW.words) >= length(OLD.words))"


def upgrade() -> None:
    texts = _texts()
    for table in SAID:
        _unlock(table, "no_update")
        op.add_column(table, sa.Column("words", sa.Text(), nullable=True))
    changed: list[tuple[Any, ...]]
    for rows in _rows(CARE, CARE.c.id):
        changed = []
        for row in rows:
            (by, details), words = care_apart(row.kind, row.by, from_json(row.details), texts)
            if words:
                changed.append((row.id, by, to_json(details), to_json(words)))
        _put(CARE, ["id"], ["by", "details", "words"], changed)
    for rows in _rows(EVENTS, EVENTS.c.install, EVENTS.c.seq):
        changed = []
        for row in rows:
            said = from_json(row.payload)
            payload, words = install_apart(said | ({"by": ""} if row.kind == "trained" else {}), texts)
            if payload != said:
                changed.append((row.install, row.seq, to_json(payload), to_json(words) if words else None))
        _put(EVENTS, ["install", "seq"], ["payload", "words"], changed)
    for table, columns in SAID.items():
        _lock(table, "no_update", f"BEFORE UPDATE OF {columns} ON {table}")
        _lock(table, "only_erased", f"BEFORE UPDATE OF words ON {table}", FEWER)


def downgrade() -> None:
    """What was not erased goes back into the logs."""
    for table in SAID:
        for name in ("no_update", "only_erased"):
            _unlock(table, name)
    changed: list[tuple[Any, ...]]
    for rows in _rows(CARE, CARE.c.id):
        changed = []
        for row in rows:
            if row.words is not None:
                by, details = together([row.by, from_json(row.details)], from_json(row.words))
                changed.append((row.id, by, to_json(details)))
        _put(CARE, ["id"], ["by", "details"], changed)
    for rows in _rows(EVENTS, EVENTS.c.install, EVENTS.c.seq):
        changed = []
        for row in rows:
            said = from_json(row.payload)
            payload = together(said, from_json(row.words or "[]"))
            if row.kind == "trained":
                payload = payload | {"by": _trainer(row.install, row.seq)}
            if payload != said:
                changed.append((row.install, row.seq, to_json(payload)))
        _put(EVENTS, ["install", "seq"], ["payload"], changed)
    for table in SAID:
        op.drop_column(table, "words")
        _lock(table, "no_update", f"BEFORE UPDATE ON {table}")


def _texts() -> set[str]:
    """Points that any rulebook so far had answered in people's own words."""
    found = set()
    for text in op.get_bind().scalars(sa.select(RULEBOOKS.c.files)):
        installation = from_json(text).get("installation.yml") or {}
        found |= {
            point["id"]
            for point in installation.get("points") or ()
            if point.get("type") == "text" and not point.get("same_as")
        }
    return found


def _trainer(install: str, seq: int) -> str:
    own = TRAININGS.c.install == install, TRAININGS.c.seq == seq
    query = sa.select(TRAININGS.c.by).where(*own).order_by(TRAININGS.c.id).limit(1)
    return op.get_bind().scalar(query) or ""


def _rows(table: sa.TableClause, *key: sa.ColumnClause[Any]) -> Iterator[Sequence[Any]]:
    """All rows by their key, some at a time."""
    bind, last = op.get_bind(), None
    query = sa.select(table).order_by(*key).limit(AT_ONCE)
    while rows := bind.execute(
        query if last is None else query.where(sa.tuple_(*key) > sa.tuple_(*last))
    ).all():
        yield rows
        last = [sa.literal(getattr(rows[-1], column.name)) for column in key]


def _put(table: sa.TableClause, key: list[str], columns: list[str], rows: list[tuple[Any, ...]]) -> None:
    """Each row is its key and then its new values; all in one statement, which large logs need."""
    if rows:
        places = [f"new_{name}" for name in (*key, *columns)]
        own = (table.c[name] == sa.bindparam(f"new_{name}") for name in key)
        new: dict[str, Any] = {name: sa.bindparam(f"new_{name}") for name in columns}
        told = [dict(zip(places, row, strict=True)) for row in rows]
        op.get_bind().execute(sa.update(table).where(*own).values(new), told)


def _unlock(table: str, name: str) -> None:
    on = f" ON {table}" if op.get_bind().dialect.name == "postgresql" else ""
    op.execute(f"DROP TRIGGER {table}_{name}{on}")


def _lock(table: str, name: str, when: str, if_: str | None = None) -> None:
    """Refuses a change, or those rows of it for which `if_` holds."""
    if op.get_bind().dialect.name == "postgresql":
        rows = "FOR EACH STATEMENT" if if_ is None else f"FOR EACH ROW WHEN ({if_})"
        refuse = "EXECUTE FUNCTION keep_log()"
    else:
        rows = "" if if_ is None else f"WHEN {if_}"
        refuse = "BEGIN SELECT RAISE(ABORT, 'the log is only added to'); END"
    op.execute(f"CREATE TRIGGER {table}_{name} {when} {rows} {refuse}")
