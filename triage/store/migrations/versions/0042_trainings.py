"""A register of who was trained; their names leave the log of installations and the care log."""

import sqlalchemy as sa
from alembic import op

from triage.store.tables.column_types import UTCDateTime
from triage.values.json_text import from_json, to_json

revision = "0042"
down_revision = "0041"

EVENTS = sa.table(
    "install_events",
    *map(sa.column, ("install", "seq", "kind", "who", "payload")),
    sa.column("at", UTCDateTime()),
)
INSTALLS = sa.table("installs", *map(sa.column, ("id", "site", "machine")))
CARE = sa.table(
    "care_events", *map(sa.column, ("id", "serial", "kind", "details")), sa.column("at", UTCDateTime())
)
TRAININGS = sa.table(
    "trainings",
    *map(sa.column, ("id", "site", "person", "topics", "by", "signed", "noted_by", "install", "seq")),
    sa.column("at", UTCDateTime()),
)


def upgrade() -> None:
    op.create_table(
        "trainings",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("site", sa.String(64), sa.ForeignKey("sites.id"), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("topics", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("by", "signed", "noted_by")),
        sa.Column("install", sa.String(32), sa.ForeignKey("installs.id"), nullable=True),
        sa.Column("seq", sa.Integer(), nullable=True),
        sa.Column("left_on", sa.Date(), nullable=True),
    )
    op.create_index("ix_trainings_site", "trainings", ["site"])
    op.create_index("ix_trainings_install_seq", "trainings", ["install", "seq"])
    bind, people = op.get_bind(), dict[str, int]()
    _unlock("install_events", "care_events")
    query = sa.select(EVENTS, INSTALLS.c.site, INSTALLS.c.machine).join(
        INSTALLS, INSTALLS.c.id == EVENTS.c.install
    )
    for row in bind.execute(query.order_by(EVENTS.c.install, EVENTS.c.seq)).all():
        said = from_json(row.payload)
        if row.kind == "trained":
            people[row.install] = people.get(row.install, 0) + len(said["people"])
            told = {"topics": to_json(said["topics"]), "by": said["by"], "signed": said["signed"]}
            told |= {
                "site": row.site,
                "at": row.at,
                "noted_by": row.who,
                "install": row.install,
                "seq": row.seq,
            }
            bind.execute(sa.insert(TRAININGS), [told | {"person": person} for person in said["people"]])
            _put(bind, row, said | {"people": [], "signed": ""})
        elif row.kind == "finished" and not said["blocking"]:
            _take_names(bind, row, people.get(row.install, 0))
    _lock("install_events", "care_events")


def downgrade() -> None:
    """The names go back into the log of installations; the care log keeps how many there were."""
    bind = op.get_bind()
    _unlock("install_events")
    trained = bind.execute(sa.select(EVENTS).where(EVENTS.c.kind == "trained")).all()
    for row in trained:
        own = TRAININGS.c.install == row.install, TRAININGS.c.seq == row.seq
        found = bind.execute(sa.select(TRAININGS).where(*own).order_by(TRAININGS.c.id)).all()
        names = {"people": [one.person for one in found], "signed": found[0].signed if found else ""}
        _put(bind, row, from_json(row.payload) | names)
    _lock("install_events")
    op.drop_table("trainings")


def _put(bind: sa.Connection, row: sa.Row, said: object) -> None:  # type: ignore[type-arg]
    own = EVENTS.c.install == row.install, EVENTS.c.seq == row.seq
    bind.execute(sa.update(EVENTS).where(*own).values(payload=to_json(said)))


def _take_names(bind: sa.Connection, row: sa.Row, count: int) -> None:  # type: ignore[type-arg]
    """Out of the commissioning that going live wrote down."""
    own = CARE.c.serial == row.machine, CARE.c.kind == "commissioned", CARE.c.at == row.at
    for line in bind.execute(sa.select(CARE.c.id, CARE.c.details).where(*own)).all():
        details = from_json(line.details) | {"trained": [f"{count} on the register, {row.install}"]}
        bind.execute(sa.update(CARE).where(CARE.c.id == line.id).values(details=to_json(details)))


def _unlock(*tables: str) -> None:
    for table in tables:
        on = f" ON {table}" if op.get_bind().dialect.name == "postgresql" else ""
        op.execute(f"DROP TRIGGER {table}_no_update{on}")


def _lock(*tables: str) -> None:
    for table in tables:
        trigger = f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} "
        if op.get_bind().dialect.name == "postgresql":
            op.execute(trigger + "FOR EACH STATEMENT EXECUTE FUNCTION keep_log()")
        else:
            op.execute(trigger + "BEGIN SELECT RAISE(ABORT, 'the log is only added to'); END")
