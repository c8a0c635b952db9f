"""The clock of a reference against that of a step table, and which contacts are the same.

- ``clock``: How the clock of a reference stands to that of the step table.
- ``matching``: Contacts of a table and a reference brought together one to one.
- ``offsets``: Every offset that two rows of events allow, and how likely each is.
- ``rhythm``: How well the events of a reference can be foretold from its own rhythm alone.
- ``scene``: Table and reference on one clock, and which contacts belong together.
- ``sequence``: Contacts of a reference without a clock put beside those of the table, by their
  durations.
"""
