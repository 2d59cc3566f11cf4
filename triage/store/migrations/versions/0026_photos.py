"""Photos of a ticket; the image itself lies here or in a folder."""

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0030"


def upgrade() -> None:
    op.create_table(
        "photos",
        sa.Column("ticket", sa.String(32), sa.ForeignKey("tickets.id"), primary_key=True),
        sa.Column("number", sa.Integer(), primary_key=True),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("image", sa.LargeBinary(), nullable=True),
        sa.UniqueConstraint("ticket", "digest"),
    )


def downgrade() -> None:
    op.drop_table("photos")
