"""Sessions of the pages, which the sign-in begins and the sign-out ends."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0011"


def upgrade() -> None:
    op.create_table(
        "page_sessions",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("who", sa.String(length=64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["who"], ["tokens.name"], name="fk_page_sessions_who"),
        sa.PrimaryKeyConstraint("sha256", name="pk_page_sessions"),
    )
    for column in ("who", "expires_at"):
        op.create_index(f"ix_page_sessions_{column}", "page_sessions", [column], unique=False)


def downgrade() -> None:
    op.drop_table("page_sessions")
