"""Logs whose clocks are not one, tied together by what their sensors saw in common.

- ``check``: Is the clock of shank and foot of one leg really one? The ankle that both share tells.
- ``coarse``: Roughly how far two logs' clocks are apart, from when their wearer moves and how
  fast.
- ``events``: Moments that all sensors see in common: landings from a jump on both feet, and taps.
- ``fit``: Offset and drift of one clock against another from lags seen at some instants.
- ``grid``: Each log on a regular grid of its own clock, and where it moves: what clocks are
  compared by.
- ``lag``: How far the clocks of shank and foot of one leg are apart, read off the ankle that both
  share.
- ``tying``: Logs whose clocks are not one: tied together by what their sensors saw in common.
"""
