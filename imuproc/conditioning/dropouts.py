"""A log with a dropout in fast motion: its larger part is used, as of a log that ends there."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.timebase import SiteSignals
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval
from imuproc.core.sites import Site, is_lower_leg
from imuproc.dsp.bridging import find_bridges
from imuproc.dsp.filters import find_finite_rows, is_all_finite
from imuproc.files.settings_model import StageSettings, number

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class DropoutSettings(StageSettings):
    """When a gap is a dropout that cuts a log, and when too little of it is left."""

    lost_deg: float = number(
        20.0,
        (0.1, 180.0),
        "A gap that may hide more rotation than this leaves nothing to go on from behind it.",
    )
    missing_share: float = number(
        1.0 / 3.0,
        (0.0, 1.0),
        "A sensor that lacks more of a run in one place is left out of it.",
        "a foot log cut with 30 % of the running to come cost no accuracy; with half of it and "
        "more to come, events of that leg were off by up to 15 ms and in one of 5 runs half of the "
        "lengths were not within 2 u (simulated sprints and real runs)",
    )


@dataclass(frozen=True, eq=False)
class UnbrokenPart:
    """The part of a sensor's signals in which no turn is lost.

    Parameters
    ----------
    signals : SiteSignals
        Without values outside the part.
    span : Interval
        Of the part, in s.
    lost_s : float
        Length of the longest gap that loses the orientation, in s; 0 where none does.
    enough : bool
        Whether the part holds most of the run.
    """

    signals: SiteSignals
    span: Interval
    lost_s: float = 0.0
    enough: bool = True


def bridge_gaps(time_s: FloatArray, values: FloatArray) -> FloatArray:
    """Gaps filled by a straight line so that integration can go on; never measured.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    values : ndarray, shape (n, 3)

    Returns
    -------
    ndarray, shape (n, 3)
        Zero where there is no value at all.
    """
    if is_all_finite(values):
        return values
    good = find_finite_rows(values)
    if not good.any():
        return np.nan_to_num(values)
    out = values.copy()
    known_s, missing_s = time_s[good], time_s[~good]
    for axis in range(values.shape[1]):
        out[~good, axis] = np.interp(missing_s, known_s, values[good, axis])
    return out


def find_unbroken_part(
    signals: SiteSignals,
    time_s: FloatArray,
    rate_hz: float,
    run: Interval,
    settings: DropoutSettings,
) -> UnbrokenPart:
    """The part between gaps that holds most of a run.

    Parameters
    ----------
    signals : SiteSignals
    time_s : ndarray, shape (n,)
        Clock of the signals, around the run.
    rate_hz : float
    run : Interval
    settings : DropoutSettings

    Returns
    -------
    UnbrokenPart
        All of the signals where no gap is long enough, in fast enough motion, to lose the
        orientation.
    """
    whole = UnbrokenPart(signals, Interval(float(time_s[0]), float(time_s[-1])))
    known = np.flatnonzero(signals.measured)
    if len(known) == 0 or len(known) == known[-1] - known[0] + 1:
        return whole
    dropouts = _find_dropouts(signals, time_s, rate_hz, settings.lost_deg)
    if not dropouts:
        return whole
    # From the first sample after a gap to the last one before the next.
    firsts = [0, *(last for _, last in dropouts)]
    lasts = [*(first for first, _ in dropouts), len(time_s) - 1]
    running = np.cumsum((time_s >= run.start_s) & (time_s <= run.end_s))
    running_samples = [int(running[b] - running[a]) for a, b in zip(firsts, lasts, strict=True)]
    best = int(np.argmax(running_samples))
    span = Interval(float(time_s[firsts[best]]), float(time_s[lasts[best]]))
    inside = np.zeros(len(time_s), dtype=bool)
    inside[firsts[best] : lasts[best] + 1] = True
    longest = max(dropouts, key=lambda dropout: dropout[1] - dropout[0])
    return UnbrokenPart(
        _keep_inside(signals, inside),
        span,
        (longest[1] - longest[0]) / rate_hz,
        running_samples[best] > (1.0 - settings.missing_share) * running[-1],
    )


def list_dropout_flags(
    parts: Mapping[Site, UnbrokenPart],
) -> tuple[list[RaisedFlag], dict[Site, RaisedFlag]]:
    """Flags for sensors that are used in part, and for those that are to be left out.

    Parameters
    ----------
    parts : mapping from Site to UnbrokenPart

    Returns
    -------
    used : list of RaisedFlag
    left_out : dict from Site to RaisedFlag
        Sensors that lack much of the run; none where that is so of all.
    """
    cut = {site: part for site, part in parts.items() if part.lost_s}
    some_whole = any(part.enough for site, part in parts.items() if is_lower_leg(site))
    left_out = {
        site: RaisedFlag("gap", {"lost_s": part.lost_s, "left_out": True}, site)
        for site, part in cut.items()
        if some_whole and not part.enough
    }
    used = [
        RaisedFlag(
            "gap",
            {
                "lost_s": part.lost_s,
                "used_from_s": part.span.start_s,
                "used_to_s": part.span.end_s,
                "left_out": False,
            },
            site,
        )
        for site, part in cut.items()
        if site not in left_out
    ]
    return used, left_out


def _find_dropouts(
    signals: SiteSignals, time_s: FloatArray, rate_hz: float, lost_deg: float
) -> list[tuple[int, int]]:
    """Last sample before and first sample after each gap that loses the orientation."""
    gyro = bridge_gaps(time_s, signals.gyro_radps)
    gaps = [find_bridges(gyro[:, axis], signals.measured, rate_hz) for axis in range(3)]
    error = np.sqrt(np.sum([axis.error**2 for axis in gaps], axis=0))
    first, last = gaps[0].first, gaps[0].last
    lost = (first > 0) & (last < len(time_s) - 1) & (error > np.radians(lost_deg))
    return [(int(a), int(b)) for a, b in zip(first[lost], last[lost], strict=True)]


def _keep_inside(signals: SiteSignals, inside: BoolArray) -> SiteSignals:
    """The signals without values outside a part."""
    rows = inside[:, None]
    return replace(
        signals,
        accel_mps2=np.where(rows, signals.accel_mps2, np.nan),
        gyro_radps=np.where(rows, signals.gyro_radps, np.nan),
        measured=signals.measured & inside,
        accel_clipped=signals.accel_clipped & inside,
        gyro_clipped=signals.gyro_clipped & inside,
    )
