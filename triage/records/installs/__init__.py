"""Installations and who was trained, as folds of what was written down."""
