"""How many calls each machine had in each month, beside the tickets; commissionings as they were judged.

Months of care, all of which can be worked out again, get a mark.
"""

import sqlalchemy as sa
from alembic import op

revision = "0046"
down_revision = "0045"

DAYS = ("filter_days", "full_clean_days")
COUNTS = ("kept", "overdue", "reports_kept", "reports_overdue")


def upgrade() -> None:
    op.create_table(
        "machine_months",
        sa.Column("machine", sa.String(64), nullable=False),
        sa.Column("first", sa.Date(), nullable=False),
        sa.Column("calls", sa.Integer(), nullable=False),
        sa.Column("seconds", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["machine"], ["machines.serial"], name="fk_machine_months_machine"),
        sa.PrimaryKeyConstraint("machine", "first", name="pk_machine_months"),
        sqlite_with_rowid=False,
    )
    if op.get_bind().dialect.name == "postgresql":
        first = "CAST(date_trunc('month', opened_at AT TIME ZONE 'UTC') AS date)"
        seconds = "CAST(floor(extract(epoch FROM opened_at)) AS bigint)"
    else:
        first = "date(opened_at, 'start of month')"
        seconds = "CAST(strftime('%s', substr(opened_at, 1, 19)) AS INTEGER)"
    op.execute(
        f"INSERT INTO machine_months (machine, first, calls, seconds) SELECT machine, {first}, count(*), "
        f"sum({seconds}) FROM tickets WHERE machine IS NOT NULL GROUP BY machine, {first}"
    )
    op.create_table(
        "judged_commissionings",
        sa.Column("serial", sa.String(64), nullable=False),
        sa.Column("by", sa.String(64), nullable=False),
        sa.Column("missing", sa.Integer(), nullable=False),
        sa.Column("failed", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["serial"], ["machines.serial"], name="fk_judged_commissionings_serial"),
        sa.PrimaryKeyConstraint("serial", name="pk_judged_commissionings"),
        sqlite_with_rowid=False,
    )
    _care_months(sa.Column("mark", sa.Integer(), nullable=False), known=False)


def _care_months(*more: sa.Column[int], known: bool) -> None:
    op.drop_table("care_months")
    op.create_table(
        "care_months",
        sa.Column("first", sa.Date(), nullable=False),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in DAYS),
        *more,
        *(sa.Column(name, sa.Integer(), nullable=not known) for name in COUNTS),
        sa.PrimaryKeyConstraint("first", *DAYS, name="pk_care_months"),
    )


def downgrade() -> None:
    _care_months(known=True)
    op.drop_table("judged_commissionings")
    op.drop_table("machine_months")
