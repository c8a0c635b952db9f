"""Logs of sensors in every format, in SI units.

- ``hdf5/``: Logs in HDF5.
- ``text/``: Logs as delimited text.
- ``bids_files``: Files beside a BIDS motion recording: channels, metadata, time of day.
- ``bids_motion``: Logs in BIDS Motion: ``_motion.tsv`` without header, ``_channels.tsv`` saying
  what stands where.
- ``layout``: How one kind of log is written: the ``[layout.<name>]`` tables of a session file.
- ``parquet``: Logs as Parquet: columns named as in delimited text, or numbered from 1.
- ``registry``: Every reader, and how a log finds its own.
- ``request``: What a reader is asked for, and what every reader is.
- ``signals``: From columns of numbers to sensor logs in SI units; shared by all readers.
- ``units_stated``: Units that a log states itself: understood, or held against the layout's.
- ``wanted``: Which columns a layout wants, and where they stand in a header.
- ``xdf``: Logs as XDF (Extensible Data Format 1.0): a stream for each sensor, with stamps of its
  own.
"""
