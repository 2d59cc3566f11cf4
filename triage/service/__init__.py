"""The one service behind API and command line; a function is a transaction."""
