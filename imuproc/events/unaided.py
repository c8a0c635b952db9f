"""Touchdown and toe-off where the foot's own motion is not known: from a shank alone, or when there
was no quiet standing at all.

Offsets and spreads were read off 11 runners with a force plate at 2.5 to 4.5 m/s, both legs, all
strike types (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298; 20 N above local zero).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion, SegmentMotion
from imuproc.core.sites import SIDES, foot_of, shank_of
from imuproc.dsp.crossings import refine_extrema
from imuproc.dsp.filters import low_pass
from imuproc.dsp.rotations import quat_rotate

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class UnaidedSettings:
    """Offsets of the marks and their standard uncertainty.

    Parameters
    ----------
    jerk_lag_s, jerk_u_s : float
        From touchdown to the largest jerk of foot or shank.
    ankle_lag_s, ankle_lag_share, ankle_u_s : float
        From touchdown to the fastest fall of the ankle: a constant and a share of contact time.
    extension_share, extension_u_s : float
        From toe-off to the end of ankle extension, as a share of the coarse contact time.
    shank_pull_lag_s, shank_pull_u_s : float
        From toe-off to the shank's strongest forward pull.
    cutoff_hz : float
        Low-pass of the ankle's velocity.
    """

    jerk_lag_s: float = 0.0135
    jerk_u_s: float = 0.007
    ankle_lag_s: float = 0.0006
    ankle_lag_share: float = 0.046
    ankle_u_s: float = 0.0045
    extension_share: float = 0.12
    extension_u_s: float = 0.009
    shank_pull_lag_s: float = 0.018
    shank_pull_u_s: float = 0.010
    cutoff_hz: float = 30.0


def unaided_contacts(contacts: Contacts, motion: Motion, settings: UnaidedSettings) -> Contacts:
    """Contacts of legs without foot motion, corrected for the known lags of their marks.

    Parameters
    ----------
    contacts : Contacts
        Coarse contacts.
    motion : Motion
    settings : UnaidedSettings

    Returns
    -------
    Contacts
        Contacts of legs with foot motion are left as they are.
    """
    down, off = contacts.touchdown_s.copy(), contacts.toe_off_s.copy()
    down_u, off_u = contacts.touchdown_u_s.copy(), contacts.toe_off_u_s.copy()
    for side in SIDES:
        rows = contacts.side == side
        if foot_of(side) in motion.segments or not rows.any():
            continue
        shank = motion.segments.get(shank_of(side))
        down[rows] -= settings.jerk_lag_s
        down_u[rows] = settings.jerk_u_s
        if shank is None:
            length = contacts.toe_off_s[rows] - contacts.touchdown_s[rows]
            off[rows] -= settings.extension_share * length
            off_u[rows] = settings.extension_u_s
        else:
            off[rows] = contacts.evidence["push_s"][rows] - settings.shank_pull_lag_s
            off_u[rows] = settings.shank_pull_u_s
            mark = _ankle_marks(motion.time_s, shank, contacts.take(rows), settings)
            seen = np.isfinite(mark)
            down[rows] = np.where(seen, mark, down[rows])
            down_u[rows] = np.where(seen, settings.ankle_u_s, down_u[rows])
    return replace(
        contacts, touchdown_s=down, toe_off_s=off, touchdown_u_s=down_u, toe_off_u_s=off_u
    )


def _ankle_marks(
    time_s: FloatArray, shank: SegmentMotion, own: Contacts, settings: UnaidedSettings
) -> FloatArray:
    """Touchdown in s from the fastest fall of the ankle; NaN where it has none."""
    rate_hz = (len(time_s) - 1) / (time_s[-1] - time_s[0])
    lever = quat_rotate(shank.quat_wxyz, np.broadcast_to(shank.lever_m, (len(time_s), 3)))
    fall = shank.velocity_mps[:, 2] + np.cross(shank.rate_world_radps, lever)[:, 2]
    fall = low_pass(fall, min(settings.cutoff_hz, 0.4 * rate_hz), rate_hz)
    marks = np.full(len(own), np.nan)
    for row, (down_s, off_s) in enumerate(zip(own.touchdown_s, own.toe_off_s, strict=True)):
        low, high = np.searchsorted(time_s, [down_s - 0.04, min(down_s + 0.03, off_s)])
        if high - low < 3:
            continue
        lowest = int(low + np.argmin(fall[low:high]))
        if low < lowest < high - 1:
            refined, _ = refine_extrema(time_s, fall, np.array([lowest]))
            lag = settings.ankle_lag_s + settings.ankle_lag_share * (off_s - down_s)
            marks[row] = float(refined[0]) - lag
    return marks
