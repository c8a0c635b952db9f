"""Runs in a log; touchdown and toe-off with their evidence.

- ``alternation``: Do the contacts of both legs alternate as one body's do? Legs on two clocks
  hardly ever fit.
- ``coarse``: Coarse contacts from signals alone, good to about 15 ms: where to look for rest in
  stance.
- ``foot_points``: Vertical motion of points of a foot, and the speed at which it runs.
- ``fusion``: One event from several marks of it, each with its own standard uncertainty.
- ``landing``: Touchdown from the motion of the foot: the arrest of its heel, or of the outer edge
  of its ball.
- ``leaving``: Toe-off from the motion of the foot: how it rolls off over the toes, and when they
  are gone.
- ``leg_signals``: What the search for coarse contacts looks at, for one leg: smoothed rates and
  forces.
- ``marks``: Marks of touchdown and toe-off in one leg's signals, between two forward swings.
- ``progress``: How far a sensor on a leg gets from stride to stride, with no calibration at all.
- ``refined``: Touchdown and toe-off to a few milliseconds: every mark of them weighed as evidence.
- ``runs``: Runs in a log: stretches of fast leg swings that follow each other soon and carry the
  body on.
- ``selection``: Which contacts are sprint or running steps: walking, jumps and strays are left
  out.
- ``toe_off``: Toe-off from its marks: rise of the toes, lift of the ball, folding of the shank,
  fall of force.
- ``touchdown``: Touchdown from its marks: the foot's own arrest, a shock, the loading of the
  shank, the jerk.
- ``unaided``: Touchdown and toe-off from marks in the signals themselves: where the foot's own
  motion is not
"""
