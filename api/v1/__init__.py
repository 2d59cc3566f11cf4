"""JSON routes."""
