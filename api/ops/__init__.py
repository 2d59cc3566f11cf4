"""The ops lead's pages."""
