"""Photos of a ticket: kept beside its log, in the database or in a folder."""
