"""Layer 7: the whole method, read top to bottom."""
