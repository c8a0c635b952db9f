"""A sensor that turned on its limb: its signals from then on as if it had not."""

from collections.abc import Mapping
from dataclasses import asdict, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.timebase import SiteSignals, TimeBased
from imuproc.core.flags import RaisedFlag
from imuproc.core.history import HistoryEntry
from imuproc.core.recording import Slip
from imuproc.core.sites import Site, side_of
from imuproc.dsp.easing import quintic_step
from imuproc.dsp.rotations import quat_from_rotvec, quat_rotate

FloatArray = NDArray[np.float64]


def undo_slips(timebased: TimeBased, slips: Mapping[Site, Slip]) -> TimeBased:
    """The recording as if its sensors had kept their place on the limb.

    How the turn went while it lasted is not known: a smooth one is put in its place, after which
    the attitude is right again.

    Parameters
    ----------
    timebased : TimeBased
    slips : mapping from Site to Slip
        Not empty.

    Returns
    -------
    TimeBased
        With a flag for each of the sensors.
    """
    turned = {site: _turn_back(timebased, site, slip) for site, slip in slips.items()}
    entry = HistoryEntry(
        "conditioning.slip",
        "Sensors that turned on their limb were turned back.",
        {site: asdict(slip) for site, slip in slips.items()},
    )
    return replace(
        timebased,
        sites={**timebased.sites, **turned},
        flags=(*timebased.flags, *(_make_slip_flag(site, slip) for site, slip in slips.items())),
        history=(*timebased.history, entry),
    )


def _make_slip_flag(site: Site, slip: Slip) -> RaisedFlag:
    by_deg = float(np.degrees(slip.angle_rad))
    if slip.in_run:
        span_s = slip.start_s, slip.end_s
        return RaisedFlag("sensor_slipped", {"by_deg": by_deg}, site, span_s=span_s)
    return RaisedFlag("standing_differs", {"by_deg": by_deg, "kept_in_run": True}, site)


def _turn_back(timebased: TimeBased, site: Site, slip: Slip) -> SiteSignals:
    signals = timebased.sites[site]
    first = int(np.searchsorted(timebased.time_s, slip.start_s))
    time_s, period_s = timebased.time_s[first:], 1.0 / timebased.rate_hz
    share = quintic_step((time_s - slip.start_s) / (slip.end_s - slip.start_s))
    turn_rad = np.array(slip.turn_rad)
    back = quat_from_rotvec(share[:, None] * turn_rad)
    rate = np.gradient(share, period_s)[:, None] * turn_rad
    accel, gyro = signals.accel_mps2.copy(), signals.gyro_radps.copy()
    accel[first:] = quat_rotate(back, accel[first:])
    gyro[first:] = quat_rotate(back, gyro[first:]) - rate
    return replace(signals, accel_mps2=accel, gyro_radps=gyro, slip=slip)


def compute_slip_u_rad(
    site: Site,
    up_after: tuple[float, float, float] | None,
    taken_out: Slip | None,
    sways_deg: float,
) -> float:
    """Standard uncertainty of sagittal angles from gravity that differs between both standings.

    The change came at some time of the run: angles are off by nothing or by all of it, as likely
    the one as the other. A slip that was taken out is known to what two quiet stands differ by.
    """
    turned = 0.0
    if up_after is not None:
        # Which way pelvis and trunk face is not known yet: a turn to any side may be sagittal.
        aside = up_after[1] if side_of(site) is None else 0.0
        turned = float(np.arctan2(np.hypot(up_after[0], aside), up_after[2]))
    sways_rad = np.radians(sways_deg)
    if turned > sways_rad:
        return float(np.sqrt(0.5) * turned)
    return 0.0 if taken_out is None else float(0.5 * sways_rad)
