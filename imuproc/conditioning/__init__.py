"""From logs as they come to signals on one clock in segment axes.

- ``axes/``: From sensor axes to segment axes, and whether the sensor stayed where it was.
- ``clocks/``: Logs whose clocks are not one, tied together by what their sensors saw in common.
- ``samples/``: Which samples of a log are measurements, and which are not.
- ``dropouts``: A log with a dropout in fast motion: its larger part is used, as of a log that
  ends there.
- ``sanity``: Are these logs what they claim to be? Errors and flags that say what, where and what
  to do.
- ``surroundings``: The part of a log that belongs to one run: no run's figures hang on what else
  the log holds.
- ``timebase``: All logs of a recording on one regular clock, with everything that was not measured
  marked.
- ``usable``: Which sensors can be used in a run, and which way those of unsure direction face.
"""
