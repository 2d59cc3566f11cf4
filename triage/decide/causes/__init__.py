"""Rules fired, causes ranked, checks ordered, questions chosen."""
