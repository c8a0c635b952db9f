"""What processing gave: runs and phases summed up, tables, archives, and reading them back.

- ``archive/``: Results kept in HDF5: traced to their inputs, verified when opened.
- ``columns``: Every column of the run table and of the phase table: name, unit, meaning.
- ``folder``: Where archives lie in a folder of results.
- ``means``: The mean of a figure over steps, how far single steps lie about it, and how sure it is.
- ``squad``: A squad's runs side by side: which are best and last, which to show, in which order.
- ``squad_tables``: Results of a squad read back: the tables of an output folder, or its archive.
- ``summarising``: Runs summed up: means over the effort and by phase, left against right.
- ``summary``: One run in one row, and each of its phases in one.
- ``swings``: An angle through every swing: from toe-off to the touchdown that the swing prepares.
- ``symmetry``: Left against right in a run whose figures change from step to step.
- ``tables``: Step table, run table and phase table as files: CSV for people, Parquet for programs.
- ``top_speed``: How fast the fastest part of a run was.
- ``two_runs``: Two runs held against each other, phase by phase.
"""
