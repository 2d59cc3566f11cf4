"""What is told to the outside: e-mail and webhooks, and links to authorities that are valid once."""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0015"


def upgrade() -> None:
    moment = sa.DateTime(timezone=True)
    op.add_column("tokens", sa.Column("email", sa.Text(), nullable=True))
    op.create_table(
        "listeners",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("created_at", moment, nullable=False),
        sa.Column("removed_at", moment, nullable=True),
        sa.PrimaryKeyConstraint("name", name="pk_listeners"),
    )
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("listener", sa.String(length=64), nullable=True),
        sa.Column("ticket", sa.String(length=32), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=True),
        sa.Column("mail", sa.Text(), nullable=True),
        sa.Column("made_at", moment, nullable=False),
        sa.Column("next_at", moment, nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("delivered_at", moment, nullable=True),
        sa.Column("error", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["listener"], ["listeners.name"], name="fk_outbox_listener"),
        sa.ForeignKeyConstraint(["ticket"], ["tickets.id"], name="fk_outbox_ticket"),
        sa.PrimaryKeyConstraint("id", name="pk_outbox"),
    )
    op.create_index("ix_outbox_delivered_at_next_at", "outbox", ["delivered_at", "next_at"], unique=False)
    op.create_table(
        "approval_links",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("who", sa.String(length=64), nullable=False),
        sa.Column("ticket", sa.String(length=32), nullable=False),
        sa.Column("estimate", sa.Integer(), nullable=False),
        sa.Column("made_at", moment, nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("expires_at", moment, nullable=False),
        sa.Column("used_at", moment, nullable=True),
        sa.ForeignKeyConstraint(["who"], ["tokens.name"], name="fk_approval_links_who"),
        sa.ForeignKeyConstraint(["ticket"], ["tickets.id"], name="fk_approval_links_ticket"),
        sa.PrimaryKeyConstraint("sha256", name="pk_approval_links"),
    )
    for column in ("who", "ticket"):
        op.create_index(f"ix_approval_links_{column}", "approval_links", [column], unique=False)


def downgrade() -> None:
    op.drop_table("approval_links")
    op.drop_table("outbox")
    op.drop_table("listeners")
    op.drop_column("tokens", "email")
