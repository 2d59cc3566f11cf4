"""Benchmarks, run by hand: `python -m tests.bench`. They print what they measure and assert no time."""
