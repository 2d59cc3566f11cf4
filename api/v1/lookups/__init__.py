"""What technicians look up: causes, parts, components, and the rates of their own contractor."""
