"""Sessions written in open formats.

- ``bids``: Sessions as a BIDS data set of motion recordings, one tracking system for each sensor.
- ``form``: What a form to convert to must be able to do, and what is known of a log once it is
  written.
- ``hdf5``: Sessions as HDF5 in our own open layout, which :mod:`imuproc.readers.logs.hdf5.logs`
  describes.
- ``parquet``: Sessions as Parquet: a file for each log, SI units in the names of the columns.
- ``tables``: What the forms with a file for each log and nothing else have in common.
- ``work``: A whole session in another form: log after log, and a session file beside them.
"""
