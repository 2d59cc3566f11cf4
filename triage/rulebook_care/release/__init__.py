"""A candidate replayed, published, rolled back."""
