"""Checks against the outside world, one source a module; each docstring names the source and its status."""
