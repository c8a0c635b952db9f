"""Targets by phase, verdicts, cues.

- ``cue_words``: What is said of each fault: all words of the cues.
- ``cues``: The few things that matter: what was off target, how often, how far, on which side.
- ``targets``: Target sets: the band in which a figure should lie in each phase, and what that
  rests on.
- ``verdicts``: Each figure of each step held against its band: on target, off target, or too close
  to call.
"""
