"""Are sensors and logs fit for the session?

- ``clocks``: Clocks of a recording's sensors against each other, by what they saw in common.
- ``findings``: What a check says: figures of each sensor, reasons in sentences, a plain verdict.
- ``ranges``: Range and head-room of one sensor.
- ``recording``: The check of one recording, sensor by sensor and all together.
- ``sampling``: Rate, jitter, gaps and stamps of one log.
- ``scan``: One pass over a log, piece by piece: what is kept of it does not depend on its values'
  number.
- ``session``: The check of every run of a session file, and of logs that no session file names
  yet.
- ``settings``: The limits of the check, each with its basis.
- ``signals``: Is one log what it claims to be? The questions of processing, asked of its thinned
  signals.
- ``still``: What a sensor reads at rest: gravity, noise, offset, and whether it lies or is worn.
- ``together``: What the sensors of a recording tell together: the runs, standing, names, clocks.
- ``trial``: The method itself, tried on one run of thinned signals: what it says of names and
  standing.
- ``wording``: Reasons out of errors and flags of the stages that a check uses.
"""
