"""Runs the migrations on the connection that `triage.store.migrate` hands over."""

from alembic import context

from triage.store.tables.models import Base

context.configure(
    connection=context.config.attributes["connection"], target_metadata=Base.metadata, render_as_batch=True
)
with context.begin_transaction():
    context.run_migrations()
