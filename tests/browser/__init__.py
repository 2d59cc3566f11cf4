"""Tests that drive a real Chromium against the served desk."""
