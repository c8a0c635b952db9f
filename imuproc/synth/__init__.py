"""Recordings with known truth: a course, contacts, legs, and the sensors on them.

- ``legs/``: How the legs of a simulated run move.
- ``sensors/``: What sensors and loggers make of a motion, and what can be wrong with them.
- ``body_truth``: True figures of hips, trunk, thighs and knees.
- ``course``: Course of a made-up run: when it starts and stops, and the speed of the hips in
  between.
- ``curve``: Bending a straight run around a curve to the left.
- ``drills``: Drills and rests of a training session that swing or fold the legs, and are no
  running.
- ``ground``: How made-up feet land on the ground and leave it.
- ``jump``: A jump on both feet: sensors see it in common, and it must not be taken for sprint
  steps.
- ``long``: A long log: a jump, drills, several runs, and walking back between them.
- ``moments``: A run with jumps before and after it, which tie the clocks of separate loggers
  together.
- ``plan``: What a made-up run is to look like: body, technique, faults, course of the run.
- ``poses``: Pose of one rigid segment through time: what simulated and optical motion have in
  common.
- ``runs``: A whole made-up run: recording and exact truth.
- ``schedule``: The order of contacts of a made-up run, from its plan and course.
- ``session``: A whole made-up session on disk: session file, logs, and the truth beside them.
- ``stances``: Contacts of a made-up run: when and where each foot is on the ground, and in which
  posture.
- ``truth``: The truth beside a made-up or optical recording, computed apart from the estimators.
"""
