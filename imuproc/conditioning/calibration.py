"""From sensor axes to segment axes: standing gives the vertical, running the mediolateral axis.

Quiet standing defines zero (shin 90°, foot 0°). The mediolateral axis is the main axis of fast
rotation in the run; its sign follows from the fact that shank and foot of a runner point downward
in front on average over the stride (the leg is folded back in swing and leans forward in push-off).
"""

from dataclasses import asdict, dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.standing import Standing, find_standing
from imuproc.conditioning.stillness import StillnessSettings, still_stretches
from imuproc.conditioning.timebase import SiteSignals, TimeBased
from imuproc.core.flags import RaisedFlag
from imuproc.core.history import HistoryEntry
from imuproc.core.recording import Calibration, Conditioned, ConditionedRecording, Interval
from imuproc.core.sites import Site, is_foot, side_of
from imuproc.dsp.integration import integrate_gyro
from imuproc.dsp.rotations import quat_between, quat_conjugate, quat_multiply, quat_rotate

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class CalibrationSettings:
    """How segment axes are found.

    Parameters
    ----------
    stillness : StillnessSettings
    shortest_standing_s : float
        Least duration of quiet standing.
    toe_out_deg : float
        Usual angle between the foot's long axis and the running direction in stance; the foot's
        axis cannot be told from the running direction by its own sensor. Mean of 11 runners, both
        feet, 2.5 to 4.5 m/s (Fukuchi et al. 2017, open data): 11 deg, between-foot SD 5 deg.
    toe_out_u_deg : float
        Its standard uncertainty for one foot.
    margin_s : float
        Kept before the standing and after the end of a run.
    standing_differs_deg : float
        Difference of gravity between standing before and after that raises a flag.
    sign_margin : float
        Least mean elevation (sine) of the forward axis that settles the forward direction.
    """

    stillness: StillnessSettings = field(default_factory=StillnessSettings)
    shortest_standing_s: float = 0.7
    toe_out_deg: float = 10.0
    toe_out_u_deg: float = 5.0
    margin_s: float = 0.3
    standing_differs_deg: float = 4.0
    sign_margin: float = 0.08


def calibrate(
    timebased: TimeBased, run: Interval, settings: CalibrationSettings
) -> ConditionedRecording:
    """Turn all signals around one run into segment axes.

    Parameters
    ----------
    timebased : TimeBased
        All sensors on the common clock, sensor axes.
    run : Interval
        The run on that clock in s.
    settings : CalibrationSettings

    Returns
    -------
    ConditionedRecording
        The run with its quiet standing before and after.
    """
    rests = {
        site: still_stretches(
            timebased.time_s,
            signals.accel_mps2,
            signals.gyro_radps,
            timebased.rate_hz,
            settings.stillness,
        )
        for site, signals in timebased.sites.items()
    }
    standing = find_standing(timebased, rests, run, settings.shortest_standing_s)
    kept = _kept_span(timebased.time_s, standing, run, settings.margin_s)
    segments: dict[Site, Conditioned] = {}
    flags = [*timebased.flags, *standing.flags]
    for site, signals in timebased.sites.items():
        near = tuple(
            rest
            for rest in rests[site]
            if rest.start_s >= timebased.time_s[kept.start]
            and rest.end_s <= timebased.time_s[kept.stop - 1]
        )
        segment, raised = _condition_site(
            _cut(signals, kept),
            timebased.time_s[kept],
            timebased.rate_hz,
            run,
            standing,
            near,
            settings,
        )
        segments[site] = segment
        flags += raised
    entry = HistoryEntry(
        "conditioning.calibration",
        "Signals turned into segment axes from quiet standing and the rotation axis of running.",
        {
            **asdict(settings),
            "still_before": standing.before and asdict(standing.before),
            "still_after": standing.after and asdict(standing.after),
        },
    )
    return ConditionedRecording(
        recording=timebased.recording,
        time_s=timebased.time_s[kept],
        rate_hz=timebased.rate_hz,
        segments=segments,
        flags=tuple(flags),
        history=(*timebased.history, entry),
    )


def _kept_span(time_s: FloatArray, standing: Standing, run: Interval, margin_s: float) -> slice:
    start = (standing.before.start_s if standing.before else run.start_s - 1.0) - margin_s
    end = (standing.after.end_s if standing.after else run.end_s + 1.0) + margin_s
    low, high = np.searchsorted(time_s, [start, end])
    return slice(int(low), int(high))


def _cut(signals: SiteSignals, kept: slice) -> SiteSignals:
    return replace(
        signals,
        accel_mps2=signals.accel_mps2[kept],
        gyro_radps=signals.gyro_radps[kept],
        measured=signals.measured[kept],
        accel_clipped=signals.accel_clipped[kept],
        gyro_clipped=signals.gyro_clipped[kept],
    )


def _bridged(time_s: FloatArray, values: FloatArray) -> FloatArray:
    """Missing stretches filled by a straight line so that integration can go on; never measured."""
    good = np.isfinite(values).all(axis=1)
    if good.all() or not good.any():
        return np.nan_to_num(values)
    return np.stack(
        [np.interp(time_s, time_s[good], values[good, axis]) for axis in range(3)], axis=1
    )


def _condition_site(  # noqa: PLR0913 - private; the seven belong together
    signals: SiteSignals,
    time_s: FloatArray,
    rate_hz: float,
    run: Interval,
    standing: Standing,
    rests: tuple[Interval, ...],
    settings: CalibrationSettings,
) -> tuple[Conditioned, list[RaisedFlag]]:
    accel, gyro = _bridged(time_s, signals.accel_mps2), _bridged(time_s, signals.gyro_radps)
    bias, bias_u = _gyro_bias(time_s, gyro, rests)
    unbiased = gyro - bias
    anchor = standing.before or standing.after
    running = (time_s >= run.start_s) & (time_s <= run.end_s)
    still = None if anchor is None else (time_s >= anchor.start_s) & (time_s <= anchor.end_s)
    up = _mean_direction(accel[running] if still is None else accel[still])
    axis, axis_u = _rotation_axis(unbiased[running], up)
    forward = np.cross(axis, up)
    sign, sure = _forward_sign(unbiased, rate_hz, still, running, up, forward, settings)
    forward = sign * forward
    if is_foot(signals.site):
        toe_out = np.radians(settings.toe_out_deg) * (1 if side_of(signals.site) == "left" else -1)
        forward = np.cos(toe_out) * forward + np.sin(toe_out) * np.cross(up, forward)
        axis_u = float(np.hypot(axis_u, np.radians(settings.toe_out_u_deg)))
    turn = np.stack((forward, np.cross(up, forward), up))
    calibration = Calibration(
        segment_from_sensor=turn,
        gyro_bias_radps=bias,
        gyro_bias_u_radps=bias_u,
        still_before=standing.before,
        still_after=standing.after,
        axis_u_rad=axis_u,
        vertical_known=anchor is not None,
        rests=rests,
    )
    flags = [] if sure else [RaisedFlag("mounting_sign_unsure", site=signals.site)]
    conditioned = Conditioned(
        site=signals.site,
        accel_mps2=accel @ turn.T,
        gyro_radps=unbiased @ turn.T,
        measured=signals.measured,
        accel_clipped=signals.accel_clipped,
        gyro_clipped=signals.gyro_clipped,
        calibration=calibration,
    )
    return conditioned, flags


def _mean_direction(accel: FloatArray) -> FloatArray:
    mean = accel.mean(axis=0)
    return np.asarray(mean / np.linalg.norm(mean))


_BIAS_U_FLOOR_RADPS = np.radians(0.005)
_BIAS_U_UNKNOWN_RADPS = np.radians(1.0)
_SWAY_RAD = np.radians(0.3)


def _gyro_bias(
    time_s: FloatArray, gyro: FloatArray, rests: tuple[Interval, ...]
) -> tuple[FloatArray, float]:
    """Mean rate at rest, weighted by the length of each rest, and its standard uncertainty.

    Posture sways by a few tenths of a degree, so over T seconds the mean rate is known to about
    that divided by T.
    """
    if not rests:
        return np.zeros(3), float(_BIAS_U_UNKNOWN_RADPS)
    masks = [(time_s >= rest.start_s) & (time_s <= rest.end_s) for rest in rests]
    means = np.array([gyro[mask].mean(axis=0) for mask in masks])
    duration = np.array([rest.duration_s for rest in rests])
    weight = duration**2 / (duration**2).sum()
    spread = _SWAY_RAD / np.sqrt((duration**2).sum())
    bias = weight @ means
    return bias, float(np.hypot(spread, _BIAS_U_FLOOR_RADPS))


def _rotation_axis(gyro: FloatArray, up: FloatArray) -> tuple[FloatArray, float]:
    """Main horizontal axis of fast rotation and its standard uncertainty in rad.

    Samples count by the square of their rate, so that swing and push-off decide.
    """
    flat = gyro - np.outer(gyro @ up, up)
    values, vectors = np.linalg.eigh(flat.T @ flat)
    share = float(values[1] / max(values[2], 1e-12))
    return vectors[:, 2], float(np.sqrt(share) * 0.2)


def _forward_sign(  # noqa: PLR0913 - private; the seven belong together
    gyro: FloatArray,
    rate_hz: float,
    still: BoolArray | None,
    running: BoolArray,
    up: FloatArray,
    forward: FloatArray,
    settings: CalibrationSettings,
) -> tuple[float, bool]:
    """+1 or -1 for the forward axis, and whether that is sure.

    With standing known: mean elevation of the axis over the run, which is well below the
    horizontal for the true forward axis. Else: the fast rotation of the shank's forward swing.
    """
    axis = np.cross(up, forward)
    cube = float(np.mean((-(gyro[running] @ axis)) ** 3))
    if still is None:
        return (1.0 if cube > 0 else -1.0), False
    chain = integrate_gyro(gyro, rate_hz, np.array([1.0, 0.0, 0.0, 0.0]))
    anchor = int(np.flatnonzero(still)[np.count_nonzero(still) // 2])
    level = quat_multiply(quat_between(up, UP), quat_conjugate(chain[anchor]))
    height = quat_rotate(quat_multiply(level, chain[running]), forward)[:, 2]
    mean = float(height.mean())
    return (1.0 if mean < 0 else -1.0), abs(mean) > settings.sign_margin
