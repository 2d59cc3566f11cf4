"""Models and one repository per subject."""
