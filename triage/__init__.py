"""The domain core: plain functions over frozen values, from a report to a decision.

What may not live here: Flask and marshmallow (only in `api/`). Only `inference` and its engines import
durable_rules; only `store/` imports SQLAlchemy.
"""
