"""How care was kept in months that are over, worked out once, beside the care log and the tickets."""

import sqlalchemy as sa
from alembic import op

revision = "0044"
down_revision = "0043"

DAYS = ("filter_days", "full_clean_days")
COUNTS = ("kept", "overdue", "reports_kept", "reports_overdue")


def upgrade() -> None:
    op.create_table(
        "care_months",
        sa.Column("first", sa.Date(), nullable=False),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in (*DAYS, *COUNTS)),
        sa.PrimaryKeyConstraint("first", *DAYS, name="pk_care_months"),
    )


def downgrade() -> None:
    op.drop_table("care_months")
