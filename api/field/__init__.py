"""Pages on a phone: the technician's, the authority's, and where each role starts."""
