"""Do the contacts of both legs alternate as one body's do? Legs on two clocks hardly ever fit.

A foot lands half-way between two landings of the other one. In 33 trials of 11 runners at 2.5 to
4.5 m/s (Fukuchi et al. 2017, open data) it came off that by 1.1 % of a stride (SD over trials), at
most 3.1 %; 8 % is beyond any of them by far. That is 40 ms in a sprint: a smaller shift between the
legs' clocks passes for a way of running.

Strides that grow longer or shorter put every contact elsewhere between the other leg's, and
differently so in a start and in slowing down: so the shift is looked for that makes all of them
alternate. That also tells a shift by a whole stride, as far as strides change. In even running it
shows only where one leg begins and ends its run before the other.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.files.settings_model import FUKUCHI, StageSettings, number, span

FloatArray = NDArray[np.float64]

_FEWEST = 4
"""Contacts of each leg; with fewer nothing can be said."""
_STEP_S = 0.01
"""Shifts are tried so closely."""


class AlternationSettings(StageSettings):
    """When the legs' contacts do not alternate as one body's do."""

    basis = f"chosen on {FUKUCHI} and on simulated sprints with legs shifted"
    most_off_share: float = number(
        0.08,
        (0.0, 0.5),
        "A foot lands off the middle between two landings of the other one by no more than this "
        "share of a stride, in the mean of a run.",
        f"1.1 % (SD over trials), at most 3.1 % in {FUKUCHI}",
    )
    explained_share: float = number(
        0.5,
        (0.0, 1.0),
        "A shift of one leg must leave less than this share of what was off: else contacts were "
        "missed or invented.",
    )
    alike_share: float = number(
        0.015,
        (0.0, 0.5),
        "Shifts that leave no more than this beyond the best one are as good: the least is told.",
    )
    farthest_s: float = number(2.0, (0.05, 20.0), "Largest shift that is looked for.")
    stride_s: tuple[float, float] = span(
        (0.28, 1.0), (0.1, 5.0), "Shortest and longest stride that counts."
    )
    strides_late: float = number(
        1.2,
        (0.5, 20.0),
        "A leg that begins and ends its run by more strides before the other is on another clock.",
        unit="strides",
    )


@dataclass(frozen=True)
class LegShift:
    """How far the right leg's contacts come late against the left leg's.

    Parameters
    ----------
    shift_s : float
        In s; in even running it may be whole strides more or less.
    off_share : float
        By what share of a stride a foot lands off the middle of the other one's, in the mean.
    strides : float
        By how many strides one leg begins and ends its run before the other.
    """

    shift_s: float
    off_share: float
    strides: float


def find_leg_shift(contacts: Contacts, settings: AlternationSettings) -> LegShift | None:
    """How far the contacts of both legs are from alternating.

    Parameters
    ----------
    contacts : Contacts
        All contacts of a run; coarse ones will do.
    settings : AlternationSettings

    Returns
    -------
    LegShift or None
        None where they alternate as they should, or nothing can be said.
    """
    left = contacts.touchdown_s[contacts.side == "left"]
    right = contacts.touchdown_s[contacts.side == "right"]
    if min(len(left), len(right)) < _FEWEST:
        return None
    strides = _count_strides_late(left, right, settings)
    off = float(_measure_off_middle(left, right, np.zeros(1), settings.stride_s)[0])
    farthest_s = settings.farthest_s
    shifts_s = np.arange(-farthest_s, farthest_s + _STEP_S, _STEP_S)
    left_over = _measure_off_middle(left, right, shifts_s, settings.stride_s)
    explained = np.isfinite(off) and off > settings.most_off_share
    explained &= left_over.min() < settings.explained_share * off
    if strides == 0.0 and not explained:
        return None
    alike = shifts_s[left_over <= left_over.min() + settings.alike_share]
    return LegShift(float(alike[np.argmin(np.abs(alike))]), off, strides)


def _count_strides_late(
    left_s: FloatArray, right_s: FloatArray, settings: AlternationSettings
) -> float:
    """By how many strides one leg begins and ends before the other; 0 where it does not."""
    strides = np.diff(left_s)
    shortest_s, longest_s = settings.stride_s
    usual = strides[(strides > shortest_s) & (strides < longest_s)]
    if len(usual) == 0:
        return 0.0
    ends = np.array([right_s[0] - left_s[0], right_s[-1] - left_s[-1]]) / float(np.median(usual))
    late = float(ends[np.argmin(np.abs(ends))]) if ends[0] * ends[1] > 0.0 else 0.0
    return late if abs(late) > settings.strides_late else 0.0


def _measure_off_middle(
    left_s: FloatArray, right_s: FloatArray, shifts_s: FloatArray, strides_s: tuple[float, float]
) -> FloatArray:
    """How far right contacts lie off the middle between left ones once a shift is taken out.

    Of left strides that last as long as ``strides_s`` allows.

    Returns
    -------
    ndarray, shape (k,)
        Mean share of a stride for each shift; infinite where too few contacts can be compared.
    """
    at = right_s[None, :] - shifts_s[:, None]
    before = np.clip(np.searchsorted(left_s, at) - 1, 0, len(left_s) - 2)
    stride = left_s[before + 1] - left_s[before]
    share = (at - left_s[before]) / stride
    usual = (stride > strides_s[0]) & (stride < strides_s[1]) & (share >= 0.0) & (share <= 1.0)
    off = np.sum(np.abs(share - 0.5), axis=1, where=usual)
    count = np.count_nonzero(usual, axis=1)
    least = max(_FEWEST, len(right_s) // 2)
    return np.where(count >= least, off / np.maximum(count, 1), np.inf)
