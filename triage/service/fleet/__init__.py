"""The fleet as a whole: where every machine stands, and what care is due."""
