"""How the legs of a simulated run move.

- ``angles``: Shin angle and foot pitch of one leg through a whole made-up run, from stated
  postures.
- ``ankle``: Foot pitch of one leg: stated in stance, and by the ankle's dorsiflexion in swing.
- ``ball``: Path of the ball of the foot while it is on the ground.
- ``body_line``: Thighs and trunk, and the hips put where the legs can reach them.
- ``frontal``: Turns of one leg out of the sagittal plane, and sway in standing (sizes are
  judgement).
- ``leg``: One leg through a whole made-up run: poses of shank and foot.
- ``pelvis``: Pelvis of a made-up run: its path, lean, turn and list; both hip joints hang on it.
- ``swing``: Path of the ball of the foot in swing: hip, thigh, shank and foot, bent to meet both
  stances.
"""
