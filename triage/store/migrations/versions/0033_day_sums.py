"""What the tickets of each day add up to; the scores of closings; which questions were asked."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0033"
down_revision = "0032"

INTEGERS = (
    *("opened", "on_machine", "repeats", "reopened", "visits_sent", "closed", "in_store", "came_to"),
    *("first_visit", "confirmed", "first_ranked", "scored"),
)
AMOUNTS = ("approved", "spent", "outside")
FLOATS = ("hours", "log_loss", "brier")
FLOAT: sa.types.TypeEngine[Any] = sa.Float()
SCORES = {"log_loss": FLOAT, "brier": FLOAT, "rules": sa.Text()}


def upgrade() -> None:
    for name, kind in SCORES.items():
        op.add_column("closings", sa.Column(name, kind, nullable=True))
    op.create_table(
        "day_sums",
        sa.Column("by", sa.String(16), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("key", sa.String(64), nullable=False),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in INTEGERS),
        *(sa.Column(name, sa.BigInteger(), nullable=False) for name in AMOUNTS),
        *(sa.Column(name, sa.Float(), nullable=False) for name in FLOATS),
        sa.PrimaryKeyConstraint("by", "day", "key", name="pk_day_sums"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "day_tallies",
        sa.Column("what", sa.String(16), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Float(), nullable=False) for name in ("total", "squares")),
        sa.PrimaryKeyConstraint("what", "day", "key", name="pk_day_tallies"),
        sqlite_with_rowid=False,
    )
    marked = op.create_table(
        "marked_days",
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("mark", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("day", name="pk_marked_days"),
    )
    op.create_table(
        "asked",
        sa.Column("ticket", sa.String(32), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("fact", sa.String(64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("told", sa.Boolean(), nullable=False),
        sa.Column("changed", sa.Boolean(), nullable=False),
        sa.Column("saves", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["ticket"], ["tickets.id"], name="fk_asked_ticket"),
        sa.PrimaryKeyConstraint("ticket", "seq", "fact", name="pk_asked"),
    )
    op.create_index("ix_asked_at", "asked", ["at"])
    day = "CAST({} AT TIME ZONE 'UTC' AS date)" if op.get_bind().dialect.name == "postgresql" else "date({})"
    op.execute(
        f"INSERT INTO {marked.name} (day, mark) SELECT {day.format('at')}, 1 FROM events "
        f"UNION SELECT {day.format('opened_at')}, 1 FROM tickets"
    )


def downgrade() -> None:
    for table in ("asked", "marked_days", "day_tallies", "day_sums"):
        op.drop_table(table)
    for name in SCORES:
        op.drop_column("closings", name)
