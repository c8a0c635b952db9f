"""Which sensors can be used in a run, and which way those of unsure direction face."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.timebase import TimeBased
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Conditioned, Interval
from imuproc.core.sites import SIDES, Site, foot_of, is_foot, is_lower_leg, shank_of, side_of
from imuproc.dsp.mask_runs import find_mask_runs

BoolArray = NDArray[np.bool_]


def drop_missing_sensors(timebased: TimeBased, run: Interval, missing_share: float) -> TimeBased:
    """The recording without sensors that lack much of a run, a flag for each.

    Parameters
    ----------
    timebased : TimeBased
    run : Interval
    missing_share : float
        A sensor that lacks more of the run in one place is left out.

    Returns
    -------
    TimeBased
        As given where no leg would have a sensor left.
    """
    inside = slice(*np.searchsorted(timebased.time_s, [run.start_s, run.end_s]))
    time_s = timebased.time_s[inside]
    kept, flags = dict(timebased.sites), list(timebased.flags)
    for site, signals in timebased.sites.items():
        first, after = _find_longest_missing(signals.measured[inside])
        if after - first > missing_share * len(time_s):
            del kept[site]
            missing_s, from_s = (after - first) / timebased.rate_hz, float(time_s[first])
            values = {"missing_s": missing_s, "left_out": True}
            flags.append(RaisedFlag("gap", values, site, span_s=(from_s, from_s + missing_s)))
    if not any(map(is_lower_leg, kept)):
        return timebased
    return replace(timebased, sites=kept, flags=tuple(flags))


def _find_longest_missing(measured: BoolArray) -> tuple[int, int]:
    """First sample of the longest run that was not measured, and the first one after it."""
    first, after = find_mask_runs(~measured)
    if len(first) == 0:
        return 0, 0
    longest = int(np.argmax(after - first))
    return int(first[longest]), int(after[longest])


def select_usable_segments(
    segments: Mapping[Site, Conditioned],
    unsure: set[Site],
    running: BoolArray,
    left_out: Mapping[Site, RaisedFlag],
) -> tuple[dict[Site, Conditioned], list[RaisedFlag]]:
    """Segments whose signals and direction are good enough, and flags for those in doubt.

    A segment is also left out when nothing tells its direction: without standing a shank's rate
    still does, and a foot goes by its shank; of a foot alone nothing does.

    Parameters
    ----------
    segments : mapping from Site to Conditioned
    unsure : set of Site
        Those whose forward direction is not sure.
    running : ndarray of bool, shape (n,)
        Which samples are of the run.
    left_out : mapping from Site to RaisedFlag
        Sensors that cannot be used, and why.

    Returns
    -------
    segments : dict from Site to Conditioned
    flags : list of RaisedFlag
        ``mounting_sign_unsure`` and those of ``left_out``.
    """
    whole = {site: segment for site, segment in segments.items() if site not in left_out}
    flags = list(left_out.values())
    turned, settled = _align_directions(whole, unsure, running)
    kept: dict[Site, Conditioned] = {}
    for site, segment in turned.items():
        if site not in unsure - settled:
            kept[site] = segment
        elif segment.calibration.vertical_known:
            kept[site] = segment
            flags.append(RaisedFlag("mounting_sign_unsure", site=site))
        elif is_foot(site) and shank_of(side_of(site) or "left") not in turned:
            flags.append(RaisedFlag("mounting_sign_unsure", {"left_out": True}, site))
        else:
            kept[site] = segment
    return kept, flags


def _align_directions(
    segments: Mapping[Site, Conditioned], unsure: set[Site], running: BoolArray
) -> tuple[dict[Site, Conditioned], set[Site]]:
    """Turn segments of unsure direction to swing as the rest of their leg does.

    Returns the sites that are sure by that, too. Of two unsure ones the foot is turned: the rate of
    a shank tells its direction in running of all kinds, that of a foot does not.
    """
    out, settled = dict(segments), set[Site]()
    for side in SIDES:
        foot, shank = foot_of(side), shank_of(side)
        doubtful, model = (foot, shank) if foot in unsure else (shank, foot)
        if doubtful not in unsure or not {foot, shank} <= out.keys():
            continue
        if float(out[doubtful].gyro_radps[running, 1] @ out[model].gyro_radps[running, 1]) < 0.0:
            out[doubtful] = _reverse_direction(out[doubtful])
        if model not in unsure:
            settled.add(doubtful)
    return out, settled


def _reverse_direction(segment: Conditioned) -> Conditioned:
    """Exchange forward and backward of a segment."""
    turn = np.diag([-1.0, -1.0, 1.0])
    calibration = segment.calibration
    return replace(
        segment,
        accel_mps2=segment.accel_mps2 @ turn,
        gyro_radps=segment.gyro_radps @ turn,
        calibration=replace(
            calibration, segment_from_sensor=turn @ calibration.segment_from_sensor
        ),
    )
