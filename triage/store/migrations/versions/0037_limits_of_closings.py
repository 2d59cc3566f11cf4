"""What might be spent on a closed ticket without asking, beside its closings; all days are summed anew."""

from collections.abc import Sequence
from decimal import Decimal

import sqlalchemy as sa
from alembic import op

from triage.store.tables.column_types import unpack
from triage.values.json_text import from_json

revision = "0037"
down_revision = "0036"

AT_ONCE = 500
CLOSINGS = sa.table("closings", *map(sa.column, ("ticket", "seq", "nte")))
TICKETS = sa.table("tickets", sa.column("id"), sa.column("decided_seq"))
EVENTS = sa.table("events", *map(sa.column, ("ticket", "seq", "kind", "payload")))


def upgrade() -> None:
    op.add_column("closings", sa.Column("nte", sa.BigInteger(), nullable=True))
    for name in ("limited", "over_limit"):
        op.add_column("day_sums", sa.Column(name, sa.Integer(), nullable=False, server_default="0"))
    bind = op.get_bind()
    tickets = sa.select(CLOSINGS.c.ticket).distinct().order_by(CLOSINGS.c.ticket)
    ids = bind.execute(tickets).scalars().all()
    for start in range(0, len(ids), AT_ONCE):
        _fill(bind, ids[start : start + AT_ONCE])
    day = "CAST({} AT TIME ZONE 'UTC' AS date)" if bind.dialect.name == "postgresql" else "date({})"
    op.execute(
        f"INSERT INTO marked_days (day, mark) SELECT DISTINCT {day.format('at')}, 1 FROM closings "
        f"WHERE {day.format('at')} NOT IN (SELECT day FROM marked_days)"
    )


def downgrade() -> None:
    for table, name in (("day_sums", "over_limit"), ("day_sums", "limited"), ("closings", "nte")):
        op.drop_column(table, name)


def _fill(bind: sa.Connection, tickets: Sequence[str]) -> None:
    decided = EVENTS.alias("decided")
    at_closing = sa.select(sa.func.max(decided.c.seq)).where(
        decided.c.ticket == CLOSINGS.c.ticket, decided.c.kind == "decided", decided.c.seq < CLOSINGS.c.seq
    )
    query = (
        sa.select(CLOSINGS.c.ticket, CLOSINGS.c.seq, EVENTS.c.payload)
        .join(EVENTS, EVENTS.c.ticket == CLOSINGS.c.ticket)
        .where(EVENTS.c.seq == at_closing.scalar_subquery())
        .where(CLOSINGS.c.ticket.in_(tickets))
    )
    new = [
        {"of": row.ticket, "number": row.seq, "new": int(Decimal(limit["nte"].split()[0]).scaleb(4))}
        for row in bind.execute(query)
        if (limit := from_json(unpack(row.payload))["decision"].get("limit")) is not None
    ]
    if new:
        own = CLOSINGS.c.ticket == sa.bindparam("of"), CLOSINGS.c.seq == sa.bindparam("number")
        bind.execute(sa.update(CLOSINGS).where(*own).values(nte=sa.bindparam("new")), new)
