"""Layer 8: what processing gave, kept so that anyone can trace or repeat it years later."""
