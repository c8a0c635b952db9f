"""Layer 11: one small file per command."""
