"""Texts, numbers, times and errors, exactly; imports nothing of ours."""
