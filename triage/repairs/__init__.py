"""After the decision: estimate, approval, closing, period numbers."""
