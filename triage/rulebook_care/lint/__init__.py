"""What is wrong in a rulebook."""
