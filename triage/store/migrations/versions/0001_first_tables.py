"""The first tables: machines and their care, tickets and their log, tokens, rulebooks, idempotency keys."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

INSTANT = sa.DateTime(timezone=True)
LOGS = ("events", "care_events", "publications")  # what is written there stays


def upgrade() -> None:
    op.create_table(
        "contractors",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_contractors"),
    )
    op.create_table(
        "idempotency_keys",
        sa.Column("caller", sa.String(length=64), nullable=False),
        sa.Column("key", sa.String(length=255), nullable=False),
        sa.Column("request_hash", sa.String(length=64), nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("caller", "key", name="pk_idempotency_keys"),
    )
    op.create_table(
        "rulebooks",
        sa.Column("version", sa.String(length=80), nullable=False),
        sa.Column("files", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("version", name="pk_rulebooks"),
    )
    op.create_table(
        "sites",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("town", sa.Text(), nullable=False),
        sa.Column("timezone", sa.String(length=64), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.Column("distance_km", sa.Integer(), nullable=False),
        sa.Column("open_around_the_clock", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sites"),
    )
    op.create_table(
        "machines",
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("model", sa.String(length=64), nullable=False),
        sa.Column("shipped_on", sa.Date(), nullable=False),
        sa.Column("commissioned_on", sa.Date(), nullable=True),
        sa.Column("site_id", sa.String(length=64), nullable=True),
        sa.Column("contractor_id", sa.String(length=64), nullable=True),
        sa.Column("asset_tag", sa.Text(), nullable=False),
        sa.Column("price", sa.String(length=48), nullable=True),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["contractor_id"], ["contractors.id"], name="fk_machines_contractor_id"),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name="fk_machines_site_id"),
        sa.PrimaryKeyConstraint("serial", name="pk_machines"),
    )
    op.create_index("ix_machines_contractor_id", "machines", ["contractor_id"], unique=False)
    op.create_index("ix_machines_site_id", "machines", ["site_id"], unique=False)
    op.create_table(
        "publications",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.String(length=80), nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("published_by", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["version"], ["rulebooks.version"], name="fk_publications_version"),
        sa.PrimaryKeyConstraint("id", name="pk_publications"),
    )
    op.create_table(
        "tokens",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("contractor", sa.String(length=64), nullable=True),
        sa.Column("created_at", INSTANT, nullable=False),
        sa.Column("revoked_at", INSTANT, nullable=True),
        sa.CheckConstraint("role <> 'technician' OR contractor IS NOT NULL", name="ck_tokens_contractor"),
        sa.ForeignKeyConstraint(["contractor"], ["contractors.id"], name="fk_tokens_contractor"),
        sa.PrimaryKeyConstraint("sha256", name="pk_tokens"),
        sa.UniqueConstraint("name", name="uq_tokens_name"),
    )
    op.create_table(
        "care_events",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("details", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["serial"], ["machines.serial"], name="fk_care_events_serial"),
        sa.PrimaryKeyConstraint("id", name="pk_care_events"),
        sa.UniqueConstraint("serial", "kind", "at", name="uq_care_events_serial_kind_at"),
    )
    op.create_index("ix_care_events_serial", "care_events", ["serial"], unique=False)
    op.create_table(
        "past_repairs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("ticket", sa.String(length=32), nullable=False),
        sa.Column("cause", sa.String(length=64), nullable=True),
        sa.Column("cost", sa.String(length=48), nullable=False),
        sa.ForeignKeyConstraint(["serial"], ["machines.serial"], name="fk_past_repairs_serial"),
        sa.PrimaryKeyConstraint("id", name="pk_past_repairs"),
        sa.UniqueConstraint("serial", "ticket", "at", name="uq_past_repairs_serial_ticket_at"),
    )
    op.create_index("ix_past_repairs_serial", "past_repairs", ["serial"], unique=False)
    op.create_table(
        "tickets",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=8), nullable=False),
        sa.Column("opened_at", INSTANT, nullable=False),
        sa.Column("changed_at", INSTANT, nullable=False),
        sa.Column("opened_by", sa.Text(), nullable=False),
        sa.Column("machine", sa.String(length=64), nullable=True),
        sa.Column("site", sa.String(length=64), nullable=True),
        sa.Column("contractor", sa.String(length=64), nullable=True),
        sa.Column("outcome", sa.String(length=16), nullable=True),
        sa.Column("rulebook", sa.String(length=80), nullable=False),
        sa.Column("report", sa.Text(), nullable=False),
        sa.Column("decided_seq", sa.Integer(), nullable=True),
        sa.Column("closed", sa.Text(), nullable=True),
        sa.Column("spent", sa.Text(), nullable=False),
        sa.CheckConstraint("state IN ('open', 'closed')", name="ck_tickets_state"),
        sa.ForeignKeyConstraint(["contractor"], ["contractors.id"], name="fk_tickets_contractor"),
        sa.ForeignKeyConstraint(["machine"], ["machines.serial"], name="fk_tickets_machine"),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_tickets_site"),
        sa.PrimaryKeyConstraint("id", name="pk_tickets"),
    )
    op.create_index("ix_tickets_contractor", "tickets", ["contractor"], unique=False)
    op.create_index("ix_tickets_machine", "tickets", ["machine"], unique=False)
    op.create_index("ix_tickets_opened_at_id", "tickets", ["opened_at", "id"], unique=False)
    op.create_index("ix_tickets_outcome", "tickets", ["outcome"], unique=False)
    op.create_index("ix_tickets_site", "tickets", ["site"], unique=False)
    op.create_table(
        "events",
        sa.Column("ticket", sa.String(length=32), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("rulebook", sa.String(length=80), nullable=False),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["ticket"], ["tickets.id"], name="fk_events_ticket"),
        sa.PrimaryKeyConstraint("ticket", "seq", name="pk_events"),
    )
    _protect_logs()


def _protect_logs() -> None:
    dialect = op.get_bind().dialect.name
    if dialect == "postgresql":
        op.execute(
            "CREATE FUNCTION keep_log() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION '% is only added to', TG_TABLE_NAME; END $$"
        )
    for table in LOGS:
        for change in ("UPDATE", "DELETE"):
            if dialect == "sqlite":
                op.execute(
                    f"CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{table} is only added to'); END"
                )
            elif dialect == "postgresql":
                op.execute(
                    f"CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON {table} "
                    "FOR EACH STATEMENT EXECUTE FUNCTION keep_log()"
                )
