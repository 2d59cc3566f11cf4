"""Commands for the rulebook."""
