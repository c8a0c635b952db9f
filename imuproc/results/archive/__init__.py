"""Results kept in HDF5: traced to their inputs, verified when opened.

- ``assembling``: The archive of a whole session: a copy of those of its recordings, in one file.
- ``flag_table``: Flags as a table of an archive, and back: what was found as data, and beside it
  in words.
- ``head``: The head of an archive: 512 bytes of plain text that tell whether the rest is whole.
- ``plain``: Nested values as JSON text and back: exact numbers, any Unicode, no clock, no
  addresses.
- ``reading``: Archives opened: tables as pandas, curves and signals as arrays, each read when
  asked for.
- ``schema``: What lies where in an archive, with units and meanings. DEVELOPERS.md explains it for
  readers.
- ``sink``: A file that HDF5 writes to, also when the disk is full.
- ``values``: Arrays, words and tables in HDF5, each with its unit and its meaning, and back.
- ``writing``: One archive per processed recording: everything that it gave, traced to its inputs.
"""
