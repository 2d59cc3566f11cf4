"""Who pays, what it costs, what may be spent, who says yes."""
