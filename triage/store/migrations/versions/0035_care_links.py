"""A store's link to tick off care, photos of care, a store's e-mail address, and e-mail about no ticket."""

import sqlalchemy as sa
from alembic import op

revision = "0035"
down_revision = "0034"


def upgrade() -> None:
    op.create_table(
        "care_links",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("site", sa.String(64), sa.ForeignKey("sites.id"), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_index("ix_care_links_site", "care_links", ["site"])
    op.create_table(
        "care_photos",
        sa.Column("digest", sa.String(64), primary_key=True),
        sa.Column("image", sa.LargeBinary(), nullable=False),
    )
    op.add_column("sites", sa.Column("email", sa.Text(), nullable=False, server_default=""))
    with op.batch_alter_table("outbox") as outbox:
        outbox.alter_column("ticket", existing_type=sa.String(32), nullable=True)


def downgrade() -> None:
    op.execute("DELETE FROM outbox WHERE ticket IS NULL")
    with op.batch_alter_table("outbox") as outbox:
        outbox.alter_column("ticket", existing_type=sa.String(32), nullable=False)
    op.drop_column("sites", "email")
    op.drop_table("care_photos")
    op.drop_table("care_links")
