"""Commands for tickets, machines and the server."""
