"""Logs in HDF5.

- ``heap``: Whether the heap that HDF5 keeps texts of any length in is whole.
- ``items``: Datasets and attributes in HDF5, looked up without trust: links, shapes, kinds of
  numbers.
- ``logs``: Logs in HDF5: our own open layout, and datasets of others that a layout names by path.
"""
