"""Every row of one database in another, empty one: from SQLite to PostgreSQL, or the other way round.

Rows are taken as they are stored, so that what is sealed stays sealed. Afterwards both sides are read, each
row is hashed, and the sums of the hashes, which no order of rows changes, must agree table by table.
"""

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, MetaData, Row, Table, TypeDecorator, func, select
from sqlalchemy.exc import DBAPIError

from triage.store.engine import open_store
from triage.store.tables.column_types import UTCDateTime
from triage.store.tables.models import Base
from triage.values.errors import InputError

ROWS_AT_ONCE = 1000
BITS = 128


@dataclass(frozen=True, slots=True)
class CopiedTable:
    """A table, how many rows it has, and the sum of their hashes in hexadecimal."""

    table: str
    rows: int
    sum: str


def copy_database(source: str, to: str) -> tuple[CopiedTable, ...]:
    """Copies the database at one URL into the empty one at the other, as it stood when the copy began.

    All or nothing; `source` may be written to meanwhile. Raises InputError where one of them cannot be used,
    `to` is not empty, or the two do not agree afterwards.
    """
    tables = _as_stored()
    with closing(open_store(source)) as old, closing(open_store(to)) as new:
        writing = new.watched.engine.execution_options(barrelwise_writes=True)
        with old.watched.engine.begin() as reading, writing.begin() as connection:
            _refuse_full(connection, tables)
            return tuple(_copied(table, reading, connection) for table in tables)


def _as_stored() -> tuple[Table, ...]:
    """The tables, those first that others refer to, with columns that give what is stored as it is."""
    stored = MetaData()
    for table in Base.metadata.sorted_tables:
        for column in table.to_metadata(stored).columns:
            if isinstance(column.type, TypeDecorator) and not isinstance(column.type, UTCDateTime):
                column.type = column.type.impl_instance
    return tuple(stored.sorted_tables)


def _refuse_full(connection: Connection, tables: Sequence[Table]) -> None:
    for table in tables:
        if connection.execute(select(table).limit(1)).first() is not None:
            raise InputError(
                f"the database to copy into is not empty ({table.name} has rows); name a new one"
            )


def _copied(table: Table, reading: Connection, writing: Connection) -> CopiedTable:
    told = _Sum()
    try:
        for rows in _pieces(table, reading):
            told.add(rows)
            writing.execute(table.insert(), [dict(row._mapping) for row in rows])
    except DBAPIError as error:
        raise InputError(f"{table.name} cannot be copied: {error.orig}; nothing was") from None
    _count_on(table, writing)
    found = _Sum()
    for rows in _pieces(table, writing):
        found.add(rows)
    if found != told:
        raise InputError(
            f"{table.name}: {told.rows} rows came out as {found.rows} or otherwise; nothing was copied"
        )
    return CopiedTable(table.name, told.rows, f"{told.sum:0{BITS // 4}x}")


@dataclass(slots=True)
class _Sum:
    rows: int = 0
    sum: int = 0

    def add(self, rows: Sequence[Row[Any]]) -> None:
        for row in rows:
            digest = hashlib.sha256(repr(tuple(row)).encode(errors="surrogatepass")).digest()
            self.sum = (self.sum + int.from_bytes(digest[: BITS // 8])) % (1 << BITS)
        self.rows += len(rows)


def _pieces(table: Table, connection: Connection) -> Iterator[Sequence[Row[Any]]]:
    return connection.execute(select(table), execution_options={"yield_per": ROWS_AT_ONCE}).partitions()


def _count_on(table: Table, connection: Connection) -> None:
    """A server's own numbering goes on behind the rows that brought their numbers."""
    column = table.autoincrement_column
    if column is not None and connection.dialect.name == "postgresql":
        sequence = func.pg_get_serial_sequence(table.name, column.name)
        last = select(func.max(column)).scalar_subquery()
        connection.execute(select(func.setval(sequence, last)))
