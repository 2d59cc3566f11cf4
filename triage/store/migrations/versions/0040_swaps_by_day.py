"""How many machines were swapped, among the sums of each day; days with a swap are summed anew."""

import sqlalchemy as sa
from alembic import op

revision = "0040"
down_revision = "0039"


def upgrade() -> None:
    op.add_column("day_sums", sa.Column("swaps", sa.Integer(), nullable=False, server_default="0"))
    day = "CAST(at AT TIME ZONE 'UTC' AS date)" if op.get_bind().dialect.name == "postgresql" else "date(at)"
    op.execute(
        f"INSERT INTO marked_days (day, mark) SELECT DISTINCT {day}, 1 FROM events WHERE kind = 'swapped' "
        f"AND {day} NOT IN (SELECT day FROM marked_days)"
    )


def downgrade() -> None:
    op.drop_column("day_sums", "swaps")
