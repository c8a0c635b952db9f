"""References in C3D files.

- ``markers``: Shin and foot angles from named markers, in the sagittal plane of the run.
- ``references``: References from C3D files: events from force plates or as stored, angles from
  markers.
- ``trial``: A C3D file opened: markers and vertical force in SI units on one clock, stored events.
- ``whole``: Is a C3D file whole? Looked at before a library that searches damaged ones without
  end.
"""
