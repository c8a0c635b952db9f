"""From files that people and loggers write to recordings and references.

- ``logs/``: Logs of sensors in every format, in SI units.
- ``references/``: References: what video, force plates, photocells or markers measured of the same
  steps.
- ``plan_file``: The plan file: sensors and runs to simulate, and changes that a study is to show.
- ``session``: The session file, and the recordings that it names.
- ``session_checks``: Checks of a session file that need more than one key, or the disk.
- ``session_model``: The session file as pydantic sees it: which keys there are and what each
  allows.
- ``study``: The study file: which runs are held against which references.
- ``study_model``: The study file as pydantic sees it: which keys there are and what each allows.
"""
