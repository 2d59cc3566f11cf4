"""Measurements become facts."""
