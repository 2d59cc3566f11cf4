"""What closed tickets teach."""
