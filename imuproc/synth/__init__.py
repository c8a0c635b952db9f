"""Layer 2: made-up recordings with known truth."""
