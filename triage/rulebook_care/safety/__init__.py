"""What keeps people safe in a rulebook, and how a change of it can take that away."""
