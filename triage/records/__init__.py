"""What comes in, what was decided, and the ticket that keeps both."""
