"""CSV and JSON records into the database."""
