"""Do the contacts of both legs alternate as one body's do? Legs on two clocks hardly ever fit.

A foot lands half-way between two landings of the other one. In 33 trials of 11 runners at 2.5 to
4.5 m/s (Fukuchi et al. 2017, open data) it came off that by 1.1 % of a stride (SD over trials), at
most 3.1 %; 8 % is beyond any of them by far. That is 40 ms in a sprint: a smaller shift between the
legs' clocks passes for a way of running. A shift by whole strides shows only where one leg begins
and ends its run before the other.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts

FloatArray = NDArray[np.float64]

_MOST_OFF = 0.08
_STEADY = 0.85
_FEWEST = 4
_STRIDE_S = (0.28, 1.0)
_STRIDES_LATE = 1.2


@dataclass(frozen=True)
class LegShift:
    """How far the right leg's contacts come late against the left leg's.

    Parameters
    ----------
    shift_s : float
        In s; up to whole strides where ``strides`` is 0.
    off_share : float
        By what share of a stride a foot lands off the middle of the other one's.
    strides : float
        By how many strides one leg begins and ends its run before the other.
    """

    shift_s: float
    off_share: float
    strides: float


def leg_shift(contacts: Contacts) -> LegShift | None:
    """How far the contacts of both legs are from alternating.

    Parameters
    ----------
    contacts : Contacts
        All contacts of a run; coarse ones will do.

    Returns
    -------
    LegShift or None
        None where they alternate as they should, or nothing can be said.
    """
    left = contacts.touchdown_s[contacts.side == "left"]
    right = contacts.touchdown_s[contacts.side == "right"]
    if min(len(left), len(right)) < _FEWEST:
        return None
    before = np.searchsorted(left, right) - 1
    inside = (before >= 0) & (before < len(left) - 1)
    before, between = before[inside], right[inside]
    stride = left[before + 1] - left[before]
    usual = (stride > _STRIDE_S[0]) & (stride < _STRIDE_S[1])
    if usual.sum() < _FEWEST:
        return None
    share = (between - left[before])[usual] / stride[usual]
    stride_s = float(np.median(stride[usual]))
    mean = np.mean(np.exp(2j * np.pi * (share - 0.5)))
    off = float(np.angle(mean)) / (2.0 * np.pi)
    ends = np.array([right[0] - left[0], right[-1] - left[-1]]) / stride_s
    late = float(ends[np.argmin(np.abs(ends))]) if ends[0] * ends[1] > 0.0 else 0.0
    strides = late if abs(late) > _STRIDES_LATE else 0.0
    if strides == 0.0 and not (abs(off) > _MOST_OFF and abs(mean) > _STEADY):
        return None
    return LegShift(off * stride_s, abs(off), strides)
