"""Does time run as the logs say? The rotation that a run must have made tells.

A stated rate that is too high makes every rotation come out too small by the same share in all
sensors, and then gravity does not add up to rest from stance to stance. The least squares of the
motion see it as a scale error of the gyroscopes. In 11 recordings of made-up sensors (5 simulated
sprints, 6 real runs of Fukuchi et al. 2017) whose rate was right the sensors' mean was -1.2 to
0.5 %, with a rate that was 5 % off 3.9 to 5.6 %.
"""

from collections.abc import Mapping
from typing import Final

import numpy as np

from imuproc.core.flags import RaisedFlag
from imuproc.core.motion import SegmentMotion
from imuproc.core.sites import Site, is_lower_leg
from imuproc.motion.drift import DriftSolution
from imuproc.motion.settings import RateSettings

_ABOUT_Y: Final = 10
"""Place of the scale of the mediolateral gyroscope axis among the error terms."""
_TELLS_NOTHING: Final = 0.999
"""Of the prior variance so much is left where the motion tells nothing."""


def estimate_scale_error(solution: DriftSolution) -> tuple[float, float] | None:
    """What the motion alone says, without its prior, about the mediolateral gyroscope axis.

    Parameters
    ----------
    solution : DriftSolution

    Returns
    -------
    tuple of float, or None
        By which share it reads too little, and the standard uncertainty of that; None where the
        motion does not tell.
    """
    left = float(solution.factor.compute_covariance()[_ABOUT_Y, _ABOUT_Y])
    if left >= _TELLS_NOTHING:
        return None
    u_share = float(solution.prior_sd[_ABOUT_Y]) * np.sqrt(left / (1.0 - left))
    return float(solution.errors[_ABOUT_Y]) / (1.0 - left), float(u_share)


def flag_rate(
    segments: Mapping[Site, SegmentMotion], rate_hz: float, settings: RateSettings
) -> list[RaisedFlag]:
    """A flag where the rotation of all leg sensors alike does not fit the rate of their samples.

    Parameters
    ----------
    segments : mapping from Site to SegmentMotion
    rate_hz : float
        Of the common clock.
    settings : RateSettings

    Returns
    -------
    list of RaisedFlag
        ``rate_differs``, or nothing.
    """
    known = [
        segment.gyro_scale
        for site, segment in segments.items()
        if is_lower_leg(site) and segment.gyro_scale is not None
    ]
    if not known:
        return []
    share, u_share = np.array(known).T
    information = 1.0 / (u_share**2 + settings.usual_share**2)
    mean = float(information @ share / information.sum())
    mean_u = float(information.sum() ** -0.5)
    # One sensor may have any scale of its own; several (or all there are) must agree.
    least = np.sort(share * np.sign(mean))[max(len(share) - settings.agreeing_sensors, 0)]
    alike = least > 0.5 * settings.least_share
    if not alike or abs(mean) < max(settings.least_share, settings.sure_ratio * mean_u):
        return []
    found = {
        "off_pct": 100.0 * abs(mean),
        "off_u_pct": 100.0 * mean_u,
        "rotation": "too small" if mean > 0.0 else "too large",
        "rate_hz": rate_hz,
        "fitting_hz": rate_hz / (1.0 + mean),
    }
    return [RaisedFlag("rate_differs", found)]
