"""Which samples of a log are measurements, and which are not.

- ``artefacts``: Samples that the limb cannot have made: repeats, an axis that keeps its value,
  wild readings.
- ``clipping``: Samples at the end of a sensor's range.
- ``marking``: Which samples of a log a flag is about, from a mark on each sample.
- ``repeated_samples``: Runs in which a whole sensor repeats one sample, as loggers fill what a
  radio link lost.
- ``sample_and_hold``: Sensors that are written into a table faster than they sample: their repeats
  are no samples.
- ``stamps``: Repair of one log's time stamps: what cannot be used is dropped and said, never
  guessed.
"""
