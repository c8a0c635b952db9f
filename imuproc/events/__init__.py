"""Layer 4: runs in a log; touchdown and toe-off with their evidence."""
