"""Service hours, contractors and free slots."""
