"""Alembic migrations, run by `triage.store.migrate` whenever a database is opened."""
