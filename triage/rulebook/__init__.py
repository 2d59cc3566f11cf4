"""The rulebook as an immutable value."""
