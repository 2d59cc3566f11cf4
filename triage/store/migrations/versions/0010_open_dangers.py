"""Dangers as a state of the ticket and its machine, and the urgency and skill of every outcome.

An open ticket that says to stop using the machine keeps that danger: each such caution of its last decision
stands open from then on.
"""

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

from triage.values.json_text import from_json, to_json

revision = "0010"
down_revision = "0009"

TICKETS = sa.table(
    "tickets", *map(sa.column, ("id", "machine", "state", "decided_seq", "dangers", "priority", "skill"))
)
EVENTS = sa.table(
    "events", *map(sa.column, ("ticket", "seq", "payload")), sa.column("at", sa.DateTime(timezone=True))
)
DANGERS = sa.table(
    "open_dangers",
    *map(sa.column, ("ticket", "caution", "machine", "source")),
    sa.column("since", sa.DateTime(timezone=True)),
)


def upgrade() -> None:
    op.add_column("tickets", sa.Column("dangers", sa.Text(), nullable=False, server_default="{}"))
    op.add_column("tickets", sa.Column("priority", sa.Integer(), nullable=True))
    op.add_column("tickets", sa.Column("skill", sa.String(length=16), nullable=True))
    op.create_table(
        "open_dangers",
        sa.Column("ticket", sa.String(length=32), nullable=False),
        sa.Column("caution", sa.String(length=64), nullable=False),
        sa.Column("machine", sa.String(length=64), nullable=True),
        sa.Column("source", sa.String(length=16), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("quote", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["ticket"], ["tickets.id"], name="fk_open_dangers_ticket"),
        sa.ForeignKeyConstraint(["machine"], ["machines.serial"], name="fk_open_dangers_machine"),
        sa.PrimaryKeyConstraint("ticket", "caution", name="pk_open_dangers"),
    )
    op.create_index("ix_open_dangers_machine", "open_dangers", ["machine"], unique=False)
    _keep_what_stands()


def downgrade() -> None:
    op.drop_table("open_dangers")
    for column in ("skill", "priority", "dangers"):
        op.drop_column("tickets", column)


def _keep_what_stands() -> None:
    bind = op.get_bind()
    ids = bind.execute(sa.select(TICKETS.c.id).where(TICKETS.c.state == "open")).scalars().all()
    query = sa.select(TICKETS.c.machine, EVENTS.c.payload, EVENTS.c.at).join(
        EVENTS, (EVENTS.c.ticket == TICKETS.c.id) & (EVENTS.c.seq == TICKETS.c.decided_seq)
    )
    for ticket in ids:
        row = bind.execute(query.where(TICKETS.c.id == ticket)).first()
        if row is not None:
            _keep(bind, ticket, row.machine, from_json(row.payload)["decision"], row.at)


def _keep(bind: sa.Connection, ticket: str, machine: str | None, decision: Any, at: datetime) -> None:
    visit = decision.get("visit") or {}
    since = (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(UTC)
    cautions = [each["rule"] for each in decision["cautions"] if each["stop_use"]]
    unsaid = {"quote": None, "ticket": None, "since": since.isoformat(), "from": "caller"}
    state = {"open": [{"caution": caution, **unsaid} for caution in cautions]} if cautions else {}
    changed = {"dangers": to_json(state), "priority": visit.get("priority"), "skill": visit.get("skill")}
    bind.execute(sa.update(TICKETS).where(TICKETS.c.id == ticket).values(changed))
    for caution in cautions:
        row = {"ticket": ticket, "caution": caution, "machine": machine, "source": "caller", "since": at}
        bind.execute(sa.insert(DANGERS).values(row))
