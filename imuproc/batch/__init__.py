"""Layer 10: many runs: plan, work, outcome."""
