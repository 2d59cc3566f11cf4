"""What every route shares: tokens, JSON, ETag, errors."""
