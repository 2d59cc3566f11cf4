"""JSON and spoken words read strictly into records."""
