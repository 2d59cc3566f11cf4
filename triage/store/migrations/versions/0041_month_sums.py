"""What the tickets of whole months add up to, beside the sums of days that they are made from."""

import sqlalchemy as sa
from alembic import op

revision = "0041"
down_revision = "0040"

INTEGERS = (
    *("opened", "on_machine", "repeats", "reopened", "visits_sent", "closed", "in_store", "came_to"),
    *("first_visit", "confirmed", "first_ranked", "scored", "limited", "over_limit", "swaps"),
)
AMOUNTS = ("approved", "spent", "outside")
FLOATS = ("hours", "log_loss", "brier")


def upgrade() -> None:
    op.create_table(
        "month_sums",
        sa.Column("by", sa.String(16), nullable=False),
        sa.Column("month", sa.Date(), nullable=False),
        sa.Column("key", sa.String(64), nullable=False),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in INTEGERS),
        *(sa.Column(name, sa.BigInteger(), nullable=False) for name in AMOUNTS),
        *(sa.Column(name, sa.Float(), nullable=False) for name in FLOATS),
        sa.PrimaryKeyConstraint("by", "month", "key", name="pk_month_sums"),
        sqlite_with_rowid=False,
    )


def downgrade() -> None:
    op.drop_table("month_sums")
