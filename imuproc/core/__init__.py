"""The nouns of the whole package, and what every layer may need.

- ``body``: Lengths of the body as shares of stature, for athletes whose own are not known.
- ``clocks``: How well the clocks of a recording's sensors are known against each other.
- ``columns``: Every column of the step table: name, unit, meaning, plausible range.
- ``contacts``: Foot-ground contacts of one run.
- ``errors``: Every error that imuproc raises on purpose.
- ``flag_list``: Every quality flag in words: what it means, what to do about it, and how what was
  found is told.
- ``flag_policy``: What every flag means for the figures, and who is told of it: the one place that
  decides it.
- ``flag_words``: Flags in plain English: the one place where what a flag found becomes words.
- ``flags``: A flag that was raised: its name, where it stands, and what was found, as data.
- ``gravity``: Local gravity.
- ``history``: What was done to an object, stage by stage.
- ``marks``: Which samples of a log a flag is about: a run is told of its own only.
- ``motion``: Motion of the segments through one run.
- ``recording``: The nouns that come out of readers and conditioning: logs, recordings, sessions'
  people.
- ``reference``: What another method measured of the same steps: video, force plates, photocells,
  markers.
- ``result``: What processing one recording gives.
- ``sites``: Where sensors sit, and the words for sides.
- ``uncertainty``: Every named part of a standard uncertainty, and the parts of which each figure's
  is made up.
- ``units``: Units that logs may use, their factors to SI, and the ways in which loggers spell
  them.
- ``words``: Words for people that every layer may need.
"""
