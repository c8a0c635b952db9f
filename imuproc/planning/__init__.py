"""What to expect of a study before it is made.

- ``planner``: What to expect of a study before it is made: simulate its sensors and runs, judge,
  and reckon.
- ``sample_size``: How many steps or runs it takes to show a change of a given size.
"""
