"""Many runs: planned, worked on, kept; one that fails never stops the others.

- ``agreement``: A study from its file to a folder of tables, pictures, words and a page.
- ``cluster``: Work on a Dask cluster whose machines see the same folders.
- ``fingerprint``: What a run's result depends on, as one number: the same number, the same result.
- ``folder``: The folder that results go into: one process at a time, nothing half-written left in
  it.
- ``local``: Work on this machine: in this process, or by worker processes that may die.
- ``log``: The log of the process: the only output that holds clock times and tracebacks.
- ``logs``: The logs of a session's run, read piece by piece.
- ``outcome``: What became of one run.
- ``pages``: The report for people: along with the tables only pages of what was worked on are new.
- ``plan``: Which runs a session has, in which order, and which of them are wanted.
- ``process``: A session file in, tables and files out: all of ``imuproc process`` but what it
  prints.
- ``processed``: What became of a whole session.
- ``session``: A whole session: planned, worked through, its results written, whatever happens
  between.
- ``store``: Finished work on disk: one archive per recording, recognised by its fingerprint.
- ``strict``: Runs held to the strict rule: a serious flag on a run is a reason to fail it.
- ``tables``: The tables of a session, always made anew from the archives of its recordings.
- ``work``: One run in isolation: read, processed, archived; its errors leave the others alone.
"""
