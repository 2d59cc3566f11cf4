"""Names, signatures and notes of people apart from the logs of care and of installations, so that they go."""

from collections.abc import Iterator
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
    for row in _rows(CARE, CARE.c.id):
        (by, details), words = care_apart(row.kind, row.by, from_json(row.details), texts)
        if words:
            _put(CARE, {"id": row.id}, by=by, details=to_json(details), words=to_json(words))
    for row in _rows(EVENTS, EVENTS.c.install, EVENTS.c.seq):
        said = from_json(row.payload)
        payload, words = install_apart(said | ({"by": ""} if row.kind == "trained" else {}), texts)
        if payload != said:
            new = {"payload": to_json(payload), "words": to_json(words) if words else None}
            _put(EVENTS, {"install": row.install, "seq": row.seq}, **new)
    for table, columns in SAID.items():
        _lock(table, "no_update", f"BEFORE UPDATE OF {columns} ON {table}")
        _lock(table, "only_erased", f"BEFORE UPDATE OF words ON {table}", FEWER)


def downgrade() -> None:
    """What was not erased goes back into the logs."""
    for table in SAID:
        for name in ("no_update", "only_erased"):
            _unlock(table, name)
    for row in _rows(CARE, CARE.c.id):
        if row.words is not None:
            by, details = together([row.by, from_json(row.details)], from_json(row.words))
            _put(CARE, {"id": row.id}, by=by, details=to_json(details))
    for row in _rows(EVENTS, EVENTS.c.install, EVENTS.c.seq):
        said = from_json(row.payload)
        payload = together(said, from_json(row.words or "[]"))
        if row.kind == "trained":
            own = TRAININGS.c.install == row.install, TRAININGS.c.seq == row.seq
            by = op.get_bind().scalar(sa.select(TRAININGS.c.by).where(*own).order_by(TRAININGS.c.id).limit(1))
            payload = payload | {"by": by or ""}
        if payload != said:
            _put(EVENTS, {"install": row.install, "seq": row.seq}, payload=to_json(payload))
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


def _rows(table: sa.TableClause, *key: sa.ColumnClause[Any]) -> Iterator[Any]:
    bind, last = op.get_bind(), None
    query = sa.select(table).order_by(*key).limit(AT_ONCE)
    while rows := bind.execute(
        query if last is None else query.where(sa.tuple_(*key) > sa.tuple_(*last))
    ).all():
        yield from rows
        last = [sa.literal(getattr(rows[-1], column.name)) for column in key]


def _put(table: sa.TableClause, key: dict[str, Any], **values: Any) -> None:
    where = [table.c[name] == value for name, value in key.items()]
    op.get_bind().execute(sa.update(table).where(*where).values(**values))


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
