"""What sensors and loggers make of a motion, and what can be wrong with them.

- ``faults``: Faults of sensors and loggers put into a recording, each at three severities.
- ``faults_held``: A whole sensor is held: it repeats a sample, as where a radio link loses
  packets.
- ``ideal``: What a perfect inertial sensor on a moving segment reads.
- ``imperfect``: What a real sensor makes of ideal signals, and what a real clock makes of the
  time.
- ``lying``: Sensors that lie still, as before a session.
- ``shock``: What a touchdown does to a sensor on skin: a ringing of the sensor against the bone.
"""
