"""Layer 8: step tables held against targets: bands by phase, verdicts, cues."""
