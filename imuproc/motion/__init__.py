"""Orientation and velocity of each segment, with covariance.

- ``body``: Motion of all segments of one run, solved leg by leg: foot first, then the shank tied
  to it.
- ``arrowhead``: Least squares of a chain: each state is tied to the next one, and all to a few
  shared unknowns.
- ``body_line``: Motion of thighs, pelvis and trunk, which travel with the legs.
- ``drift``: Batch least squares for the errors of a strapdown solution.
- ``foot_axis``: Which way the toes point in a foot sensor: read a second time, from the heel's
  rise in stance.
- ``observations``: What the body tells about drift: rests and stances, as rows of a least-squares
  problem.
- ``prepared``: One segment integrated once, and integrated anew where it turned unseen.
- ``scale``: Does time run as the logs say? The rotation that a run must have made tells.
- ``seen``: What rests and stances tell of velocity, as information about each anchor and what all
  share.
- ``segment``: One segment: from its signals and what is known of a point on it to drift-free
  motion.
- ``settings``: Numbers that the motion stage uses; all of them standard deviations of what is not
  known.
- ``slip``: Has a sensor turned on its limb? Its attitude in mid-stance then steps to another
  level.
- ``strapdown``: Plain strapdown integration of one sensor, and how it answers to small errors.
- ``tilt``: What the batch solution leaves uncertain of the rotation, and what wanders in over a
  run.
- ``way``: Which way the athlete runs at each instant: straight on, or around a curve.
"""
