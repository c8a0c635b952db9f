"""From motion and contacts to figures with their uncertainty.

- ``angles``: Angle curves, with uncertainty by part.
- ``body_line``: Figures of hips, trunk, thighs and knees.
- ``clocks``: What clocks that are not one leave uncertain, for figures that compare two sensors.
- ``columns``: Every column of the step table from motion and contacts.
- ``distance``: Distance of the effort and mean speed on a belt, held against what the session file
  states.
- ``quantities``: Figures of all steps with their standard uncertainty by named part.
- ``gaps``: Missing samples, and what the figures near them are worth.
- ``phase``: Phase of each step: drive, transition, upright, slowing.
- ``reading``: Angles read off their curves: at events, and over windows of time.
- ``sides``: Do the logs sit where they say? The way a leg moves tells.
- ``stride``: Step length and speed from the displacement of each foot's ball over its strides.
- ``swings``: Swings of each foot, from where it left the ground to its touchdown.
- ``timing``: Contact, flight and step times from the contacts.
- ``upright``: Was it standing that set the zero? The posture in mid-stance tells.
"""
