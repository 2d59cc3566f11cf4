"""The one service behind API and command line; a method is a transaction."""
