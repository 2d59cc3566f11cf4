"""The machine: measured, judged at its installation, kept or swapped."""
