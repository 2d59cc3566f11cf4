"""Installations as jobs: planned, dated, counted, filled in, judged, live or called back."""
