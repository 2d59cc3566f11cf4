"""Renames keys of stored JSON to today's words: warranty, computed facts, authorization.

A kept rulebook's folder `cover/` becomes `warranty/` as well; the version under which it was published stays
its key. Texts that were said stay as they were said.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import sqlalchemy as sa
from alembic import op

from triage.values.json_text import from_json, to_json

revision = "0009"
down_revision = "0008"

NEW_KEYS = {
    "cover": "warranty",
    "beyond_cover": "beyond_warranty",
    "figures": "computed_facts",
    "authorisation": "authorization",
    "authorised": "authorized",
}
POINT_KEYS = {"figure": "number"}  # of a turning point alone: `number` means other things elsewhere
PAYERS = {"programme": "program"}  # values of `paid_by`
FOLDERS = {"cover/": "warranty/"}
NAMED_BY_FACTS = ("answers", "facts")
"""Keys of objects whose own keys are ids of facts, which the rulebook's author has chosen."""

COLUMNS = {
    "events": ("payload",),
    "tickets": ("report", "closed", "spent", "repair"),
    "rulebook_stages": ("details",),
    "replay_runs": ("result",),
    "replay_pieces": ("tally",),
    "idempotency_keys": ("body",),
    "rulebooks": ("files",),
}
KEYS = {
    "events": ("ticket", "seq"),
    "tickets": ("id",),
    "rulebook_stages": ("id",),
    "replay_runs": ("id",),
    "replay_pieces": ("run", "number"),
    "idempotency_keys": ("caller", "key"),
    "rulebooks": ("version",),
}
LOGS = ("events", "rulebook_stages")
"""Tables that refuse changes by triggers."""

BATCH = 200


def upgrade() -> None:
    _rename(NEW_KEYS, POINT_KEYS, PAYERS, FOLDERS)


def downgrade() -> None:
    _rename(*({new: old for old, new in words.items()} for words in (NEW_KEYS, POINT_KEYS, PAYERS, FOLDERS)))


def _rename(
    keys: Mapping[str, str], points: Mapping[str, str], payers: Mapping[str, str], folders: Mapping[str, str]
) -> None:
    def renamed(data: Any) -> Any:
        if isinstance(data, list):
            return [renamed(each) for each in data]
        if not isinstance(data, Mapping):
            return data
        names = {**keys, **points} if "turns_at" in data else keys
        return {names.get(key, key): _value(key, value) for key, value in data.items()}

    def _value(key: str, value: Any) -> Any:
        if key == "paid_by" and isinstance(value, str):
            return payers.get(value, value)
        if key in NAMED_BY_FACTS and isinstance(value, Mapping):
            return {fact: renamed(known) for fact, known in value.items()}
        return renamed(value)

    def files(data: Any) -> Any:
        return {
            _moved(file, folders): renamed(content) if file.startswith("cases/") else content
            for file, content in data.items()
        }

    for table in COLUMNS:
        _unlock(table)
        _rewrite(table, files if table == "rulebooks" else renamed)
        _lock(table)


def _moved(file: str, folders: Mapping[str, str]) -> str:
    for old, new in folders.items():
        if file.startswith(old):
            return new + file.removeprefix(old)
    return file


def _rewrite(name: str, change: Callable[[Any], Any]) -> None:
    """Every JSON text of the table, some rows at a time; a row that stays as it is is not written."""
    bind = op.get_bind()
    columns, key = COLUMNS[name], KEYS[name]
    table = sa.table(name, *(sa.column(column) for column in (*key, *columns)))
    update = (
        sa.update(table)
        .where(*(table.c[part] == sa.bindparam(f"key_{part}") for part in key))
        .values({column: sa.bindparam(f"new_{column}") for column in columns})
    )
    for rows in _batches(bind, table, key):
        changed = []
        for row in rows:
            before = {column: from_json(row[column]) for column in columns if row[column] is not None}
            after = {column: change(data) for column, data in before.items()}
            if after != before:
                new = {
                    f"new_{column}": to_json(after[column]) if column in after else None for column in columns
                }
                changed.append({f"key_{part}": row[part] for part in key} | new)
        if changed:
            bind.execute(update, changed)


def _batches(bind: sa.Connection, table: sa.TableClause, key: tuple[str, ...]) -> Iterator[Any]:
    order = [table.c[part] for part in key]
    query = sa.select(table).order_by(*order).limit(BATCH)
    rows = bind.execute(query).mappings().all()
    while rows:
        yield rows
        last = tuple(sa.literal(rows[-1][part]) for part in key)
        rows = bind.execute(query.where(sa.tuple_(*order) > sa.tuple_(*last))).mappings().all()


def _unlock(table: str) -> None:
    if table in LOGS:
        on = f" ON {table}" if op.get_bind().dialect.name == "postgresql" else ""
        op.execute(f"DROP TRIGGER {table}_no_update{on}")


def _lock(table: str) -> None:
    if table not in LOGS:
        return
    trigger = f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} "
    if op.get_bind().dialect.name == "postgresql":
        op.execute(trigger + "FOR EACH STATEMENT EXECUTE FUNCTION keep_log()")
    else:
        op.execute(trigger + f"BEGIN SELECT RAISE(ABORT, '{table} is only added to'); END")
