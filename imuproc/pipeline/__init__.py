"""The method as a whole: its settings, its order, the step table.

- ``clocks``: Recordings whose logs do not share a clock: which sensors can be worked on together.
- ``joining``: Results of several runs in one log: their ids, and one table of all.
- ``overview``: First pass over a long log: every sensor thinned to what runs are found by.
- ``run``: The whole method for one recording, read top to bottom.
- ``settings``: Settings of the whole method, stage by stage, with a TOML form for people who
  change them.
- ``settings_text``: Settings as a TOML file that explains itself: one to start from.
- ``sources``: Logs of a recording that can be read again and again, piece by piece.
- ``stages``: The stages of the method, one after the other, for those who want to look between
  them.
- ``table``: From figures to the step table: what can be trusted, in columns, with flags.
- ``windows``: Second pass over a long log: the parts of it that hold runs, each as an ordinary
  recording.
"""
