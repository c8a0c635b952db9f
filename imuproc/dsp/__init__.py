"""Layer 1: arrays in, arrays out."""
