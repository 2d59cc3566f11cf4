"""A decision made again with something changed, and what differs."""
