"""What sensors and loggers make of a motion, and what can be wrong with them.

- ``faults``: Faults of sensors and loggers put into a recording, each at three severities.
- ``ideal``: What a perfect inertial sensor on a moving segment reads.
- ``imperfect``: What a real sensor makes of ideal signals, and what a real clock makes of the
  time.
- ``log_faults``: What can be wrong with one log: its range, its time, its values.
- ``lying``: Sensors that lie still, as before a session.
- ``repeated_samples``: A whole sensor repeats a sample (sample-and-hold), as where a radio link
  loses packets.
- ``shock``: What a touchdown does to a sensor on skin: a ringing of the sensor against the bone.
"""
