"""Events sealed in a chain, callers' words apart from the log, long documents compressed."""

from collections.abc import Callable, Sequence
from typing import Any

import sqlalchemy as sa
from alembic import op

from triage.records.callers_words import apart
from triage.store.tables.column_types import UTCDateTime, pack, unpack
from triage.store.tables.derived.chain import FIRST, hash_of, kept_apart, whole
from triage.values.json_text import from_json, to_json

revision = "0032"
down_revision = "0031"

AT_ONCE = 500
BYTES = sa.LargeBinary()
EVENTS = sa.table(
    "events",
    *map(sa.column, ("ticket", "seq", "kind")),
    sa.column("at", UTCDateTime()),
    *map(sa.column, ("who", "rulebook", "payload")),
    *(sa.column(name, BYTES) for name in ("words", "words_digest")),
    sa.column("new"),
)
ANSWERS = sa.table("idempotency_keys", *map(sa.column, ("caller", "key", "body", "new")))
TICKETS = sa.table(
    "tickets", *map(sa.column, ("id", "state", "outcome")), sa.column("held_since", UTCDateTime())
)
SAID = "ticket, seq, kind, at, who, rulebook, payload, words_digest"
"""Columns of an event that never change; its words are only taken away."""


def upgrade() -> None:
    bind = op.get_bind()
    _unlock("events", "no_update")
    _unlock("events", "no_delete")
    op.add_column("tickets", sa.Column("held_since", sa.DateTime(timezone=True), nullable=True))
    for name in ("words", "words_digest"):
        op.add_column("events", sa.Column(name, BYTES, nullable=True))
    chain = op.create_table(
        "event_chain",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("ticket", sa.String(32), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("hash", BYTES, nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_event_chain"),
    )
    _note_held(bind)
    seals = _Seals(bind, chain)
    _retype(EVENTS, ("ticket", "seq"), "payload", BYTES, seals.add)
    _retype(ANSWERS, ("caller", "key"), "body", BYTES, _packed)
    for table, change in (("events", f"UPDATE OF {SAID}"), ("event_chain", "UPDATE")):
        _lock(table, "no_update", f"BEFORE {change} ON {table}")
        _lock(table, "no_delete", f"BEFORE DELETE ON {table}")
        if bind.dialect.name == "postgresql":
            _lock(table, "no_truncate", f"BEFORE TRUNCATE ON {table}")
    _lock("events", "only_erased", "BEFORE UPDATE OF words ON events", "NEW.words IS NOT NULL")


def downgrade() -> None:
    postgresql = op.get_bind().dialect.name == "postgresql"
    for name in ("only_erased", "no_update", "no_delete", *(["no_truncate"] if postgresql else [])):
        _unlock("events", name)
    op.drop_table("event_chain")
    _retype(EVENTS, ("ticket", "seq"), "payload", sa.Text(), _told)
    _retype(
        ANSWERS,
        ("caller", "key"),
        "body",
        sa.Text(),
        lambda rows: [{"new": unpack(row.body)} for row in rows],
    )
    for name in ("words_digest", "words"):
        op.drop_column("events", name)
    op.drop_column("tickets", "held_since")
    for change in ("UPDATE", "DELETE"):
        _lock("events", f"no_{change.lower()}", f"BEFORE {change} ON events")


class _Seals:
    """Seals what is there, ticket by ticket: the order in which it was stored is not known any more."""

    def __init__(self, bind: sa.Connection, chain: sa.Table) -> None:
        self._bind, self._chain = bind, chain
        self._number, self._before = 0, FIRST

    def add(self, rows: Sequence[Any]) -> list[dict[str, Any]]:
        news, links = [], []
        for row in rows:
            log, words = apart(row.kind, from_json(row.payload))
            text, apart_ = to_json(log) if words else row.payload, kept_apart(words)
            self._number += 1
            self._before = hash_of(self._number, self._before, {**row._mapping, **apart_}, text)
            new = pack(text) if row.kind == "decided" else text.encode()
            news.append({"new": new, **apart_})
            links.append({"number": self._number, "ticket": row.ticket, "seq": row.seq, "hash": self._before})
        self._bind.execute(sa.insert(self._chain), links)
        return news


def _told(rows: Sequence[Any]) -> list[dict[str, Any]]:
    return [{"new": to_json(whole(from_json(unpack(row.payload)), row.words))} for row in rows]


def _packed(rows: Sequence[Any]) -> list[dict[str, Any]]:
    return [{"new": pack(row.body)} for row in rows]


def _unpacked(rows: Sequence[Any]) -> list[dict[str, Any]]:
    return [{"new": unpack(row.body)} for row in rows]


def _note_held(bind: sa.Connection) -> None:
    """Since when the decisions of a ticket that is on hold say so, one after another."""
    held = sa.select(TICKETS.c.id).where(TICKETS.c.state == "open", TICKETS.c.outcome == "hold")
    for ticket in bind.execute(held).scalars().all():
        log = sa.select(EVENTS.c.at, EVENTS.c.payload).where(
            EVENTS.c.ticket == ticket, EVENTS.c.kind == "decided"
        )
        since = None
        for at, payload in bind.execute(log.order_by(EVENTS.c.seq)):
            since = (since or at) if from_json(payload)["decision"]["outcome"] == "hold" else None
        bind.execute(sa.update(TICKETS).where(TICKETS.c.id == ticket).values(held_since=since))


def _retype(
    table: sa.TableClause,
    key: tuple[str, ...],
    column: str,
    kind: sa.types.TypeEngine[Any],
    convert: Callable[[Sequence[Any]], list[dict[str, Any]]],
) -> None:
    """Gives a column another type; `convert` makes what is new of some rows, among it the column `new`."""
    bind = op.get_bind()
    op.add_column(table.name, sa.Column("new", kind, nullable=False, server_default=""))
    order = [table.c[part] for part in key]
    columns = [each for each in table.c if each.name != "new"]
    query, last = sa.select(*columns).order_by(*order).limit(AT_ONCE), None
    change = sa.update(table).where(*(each == sa.bindparam(f"key_{each.name}") for each in order))
    while rows := bind.execute(
        query if last is None else query.where(sa.tuple_(*order) > sa.tuple_(*last))
    ).all():
        last = tuple(sa.literal(getattr(rows[-1], part)) for part in key)
        bind.execute(
            change,
            [
                new | {f"key_{part}": getattr(row, part) for part in key}
                for row, new in zip(rows, convert(rows), strict=True)
            ],
        )
    op.drop_column(table.name, column)
    op.execute(f"ALTER TABLE {table.name} RENAME COLUMN new TO {column}")


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
        refuse = f"BEGIN SELECT RAISE(ABORT, '{table} is only added to'); END"
    op.execute(f"CREATE TRIGGER {table}_{name} {when} {rows} {refuse}")
