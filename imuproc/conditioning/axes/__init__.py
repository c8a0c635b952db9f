"""From sensor axes to segment axes, and whether the sensor stayed where it was.

- ``agreement``: Do accelerometer and gyroscope of one sensor tell of the same motion?
- ``calibration``: From sensor axes to segment axes: standing gives the vertical, running the
  mediolateral axis.
- ``pairing``: Do shank and foot of one leg move together? Swapped or misnamed logs do not.
- ``segment_axes``: Segment axes of one sensor: standing gives the vertical, running the
  mediolateral axis.
- ``slip``: A sensor that turned on its limb: its signals from then on as if it had not.
- ``standing``: Which still stretches are quiet standing, before and after a run.
- ``stillness``: Still stretches of one sensor: where it neither turned nor shook, and gravity kept
  its direction.
"""
