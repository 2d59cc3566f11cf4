"""The larger objects that the routes of /v1 give, as schemas."""
