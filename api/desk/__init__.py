"""The call center agent's pages."""
