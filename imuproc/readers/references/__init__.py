"""References: what video, force plates, photocells or markers measured of the same steps.

- ``c3d/``: References in C3D files.
- ``bids``: References from a BIDS ``_events.tsv``: onset and duration in s, and a word for what
  happened.
- ``contacts``: Contacts of a reference: put in order, or refused where they cannot be what they
  claim.
- ``events``: References as delimited text with a row for each contact: by frame number, or by
  time.
- ``layout``: How one kind of reference is written: the ``[layout.<name>]`` tables of a study file.
- ``photocells``: Contact and flight times of photocells, without a clock: a row for each contact
  in order.
- ``registry``: Every reader of references, and the one way to read one.
- ``request``: What a reader of references is asked for, and what every one of them is.
- ``table``: A small delimited table with a header, as people write references down.
"""
