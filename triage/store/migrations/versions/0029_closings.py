"""Close-outs as narrow rows, what numbers are counted by as columns, and indexes for lists by page."""

from datetime import UTC, datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB

from triage.values.json_text import from_json

revision = "0029"
down_revision = "0025"

INSTANT = sa.DateTime(timezone=True)
EVENTS = sa.table("events", *map(sa.column, ("ticket", "seq", "kind", "payload")), sa.column("at", INSTANT))
COUNTED = ("first_outcome", "symptoms", "checks", "cause", "cured_by")
TICKETS = sa.table(
    "tickets",
    *map(sa.column, ("id", "state", "machine", "contractor", "decided_seq", "report", "closed")),
    *map(sa.column, ("caller", "phone", *COUNTED)),
    sa.column("opened_at", INSTANT),
)
OLD = {
    "ix_tickets_contractor": ("contractor",),
    "ix_tickets_machine": ("machine",),
    "ix_tickets_outcome": ("outcome",),
    "ix_tickets_parked_until": ("parked_until",),
    "ix_tickets_site": ("site",),
    "ix_tickets_state_due_at": ("state", "due_at"),
    "ix_tickets_state_outcome": ("state", "outcome"),
}
NEW = {
    "ix_tickets_state_due_at_id": ("state", "due_at", "id"),
    "ix_tickets_state_parked_until_id": ("state", "parked_until", "id"),
    "ix_tickets_state_outcome_opened_at_id": ("state", "outcome", "opened_at", "id"),
    "ix_tickets_contractor_state_opened_at_id": ("contractor", "state", "opened_at", "id"),
    **{
        f"ix_tickets_{name}_opened_at_id": (name, "opened_at", "id")
        for name in ("state", "contractor", "machine", "site", "outcome")
    },
    "ix_tickets_waiting": ("state", "solved", "outcome", "due_at", "parked_until"),
    "ix_tickets_numbers": (
        *("opened_at", "first_outcome", "outcome", "contractor", "machine", "id"),
        *("symptoms", "checks", "cause", "cured_by", "site"),
    ),
}
AT_ONCE = 500


def upgrade() -> None:
    for column in ("symptoms", "checks"):
        op.add_column("tickets", sa.Column(column, sa.Text(), nullable=False, server_default=""))
    for column, length in (("first_outcome", 16), ("cause", 64), ("cured_by", 64)):
        op.add_column("tickets", sa.Column(column, sa.String(length), nullable=True))
    table = op.create_table(
        "closings",
        sa.Column("ticket", sa.String(32), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("opened_at", INSTANT, nullable=False),
        sa.Column("closed_at", INSTANT, nullable=False),
        sa.Column("machine", sa.String(64), nullable=True),
        sa.Column("contractor", sa.String(64), nullable=True),
        sa.Column("cause", sa.String(64), nullable=True),
        sa.Column("cured_by", sa.String(64), nullable=False),
        sa.Column("top_cause", sa.String(64), nullable=True),
        sa.Column("top_chance", sa.Float(), nullable=True),
        *(sa.Column(name, sa.Boolean(), nullable=False) for name in ("visited", "claims", "stands")),
        sa.Column("scheduled", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.BigInteger(), nullable=False) for name in ("total", "spent", "outside")),
        sa.ForeignKeyConstraint(["ticket"], ["tickets.id"], name="fk_closings_ticket"),
        sa.PrimaryKeyConstraint("ticket", "seq", name="pk_closings"),
    )
    terms = op.create_table(
        "ticket_terms",
        sa.Column(
            "term", sa.String(24).with_variant(sa.String(24, collation="C"), "postgresql"), nullable=False
        ),
        sa.Column("ticket", sa.String(32), nullable=False),
        sa.ForeignKeyConstraint(["ticket"], ["tickets.id"], name="fk_ticket_terms_ticket"),
        sa.PrimaryKeyConstraint("term", "ticket", name="pk_ticket_terms"),
        sqlite_with_rowid=False,
    )
    _fill(op.get_bind(), table, terms)
    op.create_index("ix_ticket_terms_ticket", "ticket_terms", ["ticket"])
    for name, columns in {
        "ix_closings_at": ("at",),
        "ix_closings_closed_at": ("closed_at",),
        "ix_closings_claims_closed_at_ticket_seq": ("claims", "closed_at", "ticket", "seq"),
        "ix_closings_contractor_claims_closed_at": (
            "contractor", "claims", "closed_at", "ticket", "seq",
        ),
        "ix_closings_machine_at": ("machine", "at", "ticket", "contractor"),
    }.items():  # fmt: skip
        op.create_index(name, "closings", list(columns))
    op.create_index("ix_past_repairs_at", "past_repairs", ["at"])
    for name in OLD:
        op.drop_index(name, "tickets")
    for name, columns in NEW.items():
        op.create_index(name, "tickets", list(columns))


def downgrade() -> None:
    for name in NEW:
        op.drop_index(name, "tickets")
    for name, columns in OLD.items():
        op.create_index(name, "tickets", list(columns))
    op.drop_index("ix_past_repairs_at", "past_repairs")
    for table in ("ticket_terms", "closings"):
        op.drop_table(table)
    for column in COUNTED:
        op.drop_column("tickets", column)


def _fill(bind: sa.Connection, closings: sa.Table, terms: sa.Table) -> None:
    ids = list(bind.execute(sa.select(TICKETS.c.id).order_by(TICKETS.c.id)).scalars())
    for start in range(0, len(ids), AT_ONCE):
        some = ids[start : start + AT_ONCE]
        rows = bind.execute(sa.select(TICKETS).where(TICKETS.c.id.in_(some))).all()
        logs: dict[str, list[Any]] = {ticket: [] for ticket in some}
        for event in bind.execute(_log(bind).where(EVENTS.c.ticket.in_(some)).order_by(EVENTS.c.seq)):
            logs[event.ticket].append(event)
        new: dict[str, list[Any]] = {"closings": [], "terms": []}
        for row in rows:
            decided = (event.outcome for event in logs[row.id] if event.kind == "decided")
            counted = _counted(from_json(row.report), from_json(row.closed) if row.closed else {})
            counted["first_outcome"] = next(decided, None)
            bind.execute(sa.update(TICKETS).where(TICKETS.c.id == row.id).values(counted))
            new["closings"] += _closings(row, logs[row.id])
            new["terms"] += [{"term": term, "ticket": row.id} for term in _terms(row)]
        for table, made in ((closings, new["closings"]), (terms, new["terms"])):
            if made:
                bind.execute(sa.insert(table), made)


def _log(bind: sa.Connection) -> sa.Select[Any]:
    """Of decisions, which are long, only two values are taken out."""

    def value(*path: str) -> sa.ColumnElement[Any]:
        if bind.dialect.name == "postgresql":
            found: sa.ColumnElement[Any] = sa.cast(EVENTS.c.payload, JSONB)[path].astext
            return found
        steps = "".join(f"[{step}]" if step.isdigit() else f".{step}" for step in path)
        return sa.func.json_extract(EVENTS.c.payload, f"${steps}", type_=sa.String)

    decided = EVENTS.c.kind == "decided"
    return sa.select(
        *(EVENTS.c.ticket, EVENTS.c.seq, EVENTS.c.kind, EVENTS.c.at),
        sa.case((decided, value("decision", "outcome"))).label("outcome"),
        sa.case((decided, value("decision", "causes", "0", "cause"))).label("top"),
        sa.case((decided, value("decision", "causes", "0", "chance"))).label("chance"),
        sa.case((decided, None), else_=EVENTS.c.payload).label("payload"),
    ).where(EVENTS.c.kind.in_(("decided", "dispatched", "closed")))


def _terms(ticket: Any) -> set[str]:
    """The number, who called and the phone's digits after a number sign, each with its endings."""
    phone = "".join(filter(str.isdigit, ticket.phone))
    words = [("", ticket.id.lower(), 3), ("#", phone, 4)]
    words += [("", word, 1) for word in ticket.caller.lower().split()]
    return {
        f"{sign}{word[start:]}"[:24] for sign, word, least in words for start in range(len(word) - least + 1)
    }


def _counted(report: Any, closed: Any) -> dict[str, Any]:
    results = {
        one["check"]: "cured_together" if one["result"] == "cured" and one.get("together") else one["result"]
        for one in report.get("checks") or ()
    }
    return {
        "symptoms": " ".join(dict.fromkeys(report.get("symptoms") or ())),
        "checks": " ".join(f"{check}={result}" for check, result in results.items()),
        "cause": closed.get("cause"),
        "cured_by": closed.get("cured_by"),
    }


def _closings(ticket: Any, log: Any) -> Any:
    visits: set[Any] = set()
    top, chance = None, None
    last = max((event.seq for event in log if event.kind == "closed"), default=0)
    for event in log:
        payload = from_json(event.payload or "{}")
        if event.kind == "decided":
            top, chance = event.top, event.chance
        elif event.kind == "dispatched":
            visits.add(payload["visit"])
        else:
            outside = payload.get("outside_agreement")
            above = [
                max(_units(line["amount"]) - _units(line["agreed"]), 0) for line in payload.get("lines") or ()
            ]
            paid = [line["paid_by"] for line in payload.get("lines") or ()]
            yield {
                "ticket": ticket.id,
                "seq": event.seq,
                "at": event.at,
                "opened_at": ticket.opened_at,
                "closed_at": _moment(payload["at"]),
                "machine": payload.get("machine") or ticket.machine,
                "contractor": payload.get("contractor") or ticket.contractor,
                "cause": payload["cause"],
                "cured_by": payload["cured_by"],
                "top_cause": top,
                "top_chance": None if chance is None else float(chance),
                "visited": payload["visited"],
                "claims": any(one != "program" for one in paid) or _units(payload["deductible"]) != 0,
                "stands": ticket.state == "closed" and event.seq == last,
                "scheduled": len(visits),
                "total": _units(payload["total"]),
                "spent": _units(payload["cost"]),
                "outside": sum(above) if outside is None else _units(outside),
            }


def _units(money: str) -> int:
    """Whole ten-thousandths of an amount such as 312.40 USD."""
    return int(Decimal(money.split()[0]).scaleb(4).to_integral_value(ROUND_HALF_UP))


def _moment(text: str) -> datetime:
    """As the database of this dialect holds it: SQLite in UTC without saying so."""
    at = datetime.fromisoformat(text).astimezone(UTC)
    return at.replace(tzinfo=None) if op.get_bind().dialect.name == "sqlite" else at
