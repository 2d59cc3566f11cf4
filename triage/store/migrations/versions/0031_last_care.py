"""When each task of care was last done on each side, beside the care log."""

import sqlalchemy as sa
from alembic import op

revision = "0031"
down_revision = "0026"

STARTED = (
    ("filter", "", ("filter_cleaned", "fully_cleaned", "commissioned")),
    ("full_clean", "left", ("fully_cleaned", "commissioned")),
    ("full_clean", "right", ("fully_cleaned", "commissioned")),
)
"""Task, side, and the kinds that start its interval anew; up to now a full clean was of both sides."""


def upgrade() -> None:
    op.create_table(
        "last_care",
        sa.Column("serial", sa.String(64), sa.ForeignKey("machines.serial"), primary_key=True),
        sa.Column("task", sa.String(16), primary_key=True),
        sa.Column("side", sa.String(8), primary_key=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    for task, side, kinds in STARTED:
        among = ", ".join(f"'{kind}'" for kind in kinds)
        op.execute(
            f"INSERT INTO last_care (serial, task, side, at) SELECT serial, '{task}', '{side}', MAX(at) "
            f"FROM care_events WHERE kind IN ({among}) GROUP BY serial"
        )


def downgrade() -> None:
    op.drop_table("last_care")
