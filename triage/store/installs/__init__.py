"""Installations with their log, and the register of who was trained."""
