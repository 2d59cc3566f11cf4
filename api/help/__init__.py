"""Pages that explain: help, the reference of the API and what its problems mean; nobody signs in for them."""
