"""From YAML files to a rulebook, every problem in its place."""
