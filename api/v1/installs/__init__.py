"""Routes of installations and their photos."""
