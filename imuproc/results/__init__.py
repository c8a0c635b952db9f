"""What processing gave: a run in one row, tables, archives, and reading them back.

- ``archive/``: Results kept in HDF5: traced to their inputs, verified when opened.
- ``folder``: Where archives lie in a folder of results.
- ``squad_tables``: Results of a squad read back: the tables of an output folder, or its archive.
- ``summary``: One run in one row: means over the effort, left against right, flags, status.
- ``swings``: An angle through every swing: from toe-off to the touchdown that the swing prepares.
- ``symmetry``: Left against right in a run whose figures change from step to step.
- ``tables``: Step table and run table as files: CSV for people, Parquet for programs.
- ``top_speed``: How fast the fastest part of a run was.
"""
