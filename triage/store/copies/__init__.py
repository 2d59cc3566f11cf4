"""Copies of a whole database, and copies put back."""
