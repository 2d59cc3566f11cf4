"""How a rulebook reads, and how two differ."""
