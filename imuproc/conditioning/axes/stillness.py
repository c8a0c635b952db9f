"""Still stretches of one sensor: where it neither turned nor shook, and gravity kept its direction.

A slow sink into the set position passes for stillness in noise alone, so a stretch also ends where
gravity in the sensor has moved by more than about a degree.
"""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import Interval
from imuproc.dsp.filters import (
    average_blocks,
    choose_block,
    choose_odd_width,
    find_finite_rows,
    moving_mean,
    moving_mean_std,
)
from imuproc.dsp.mask_runs import list_mask_slices
from imuproc.dsp.medians import median
from imuproc.dsp.rotations import norm
from imuproc.files.settings_model import StageSettings, number

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class StillnessSettings(StageSettings):
    """When a sensor counts as still."""

    window_s: float = number(0.4, (0.05, 5.0), "Window of the moving statistics.")
    gyro_sd_degps: float = number(
        4.0, (0.01, 100.0), "Largest standard deviation of angular velocity in the window."
    )
    turning_degps: float = number(
        25.0, (0.1, 200.0), "Largest mean angular velocity in the window, bias removed."
    )
    accel_sd_mps2: float = number(
        0.5, (0.001, 20.0), "Largest standard deviation of the specific force in the window."
    )
    gravity_drift_deg: float = number(
        1.0,
        (0.05, 30.0),
        "How far gravity may move in the sensor within one stretch.",
        "a slow sink into the set position passes for stillness in noise alone",
    )
    creep_degps: float = number(
        0.6, (0.0, 30.0), "Fastest steady turn of gravity within one stretch."
    )
    shortest_s: float = number(0.5, (0.1, 60.0), "Shorter stretches are left out.")
    work_hz: float = number(
        100.0,
        (20.0, 2000.0),
        "Faster signals are averaged down to about this rate first.",
        "sensor noise at high rates would hide stillness, and nothing here is faster",
    )
    smoothing_s: float = number(
        0.02, (0.0, 0.5), "Signals are averaged over so much time before that."
    )
    calmest_share: float = number(
        0.2,
        (0.01, 1.0),
        "Share of the calm samples, the calmest, by which the bias of the gyroscope is told.",
    )


def find_rests(
    time_s: FloatArray,
    accel_mps2: FloatArray,
    gyro_radps: FloatArray,
    rate_hz: float,
    settings: StillnessSettings,
) -> tuple[Interval, ...]:
    """Find where one sensor neither turned nor shook, and gravity kept its direction.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    accel_mps2, gyro_radps : ndarray, shape (n, 3)
        In sensor axes; NaN where missing.
    rate_hz : float
    settings : StillnessSettings

    Returns
    -------
    tuple of Interval
        In order of time; windows that touch motion are cut by half a window at both ends.
    """
    block = choose_block(rate_hz, settings.work_hz)
    rate_hz = rate_hz / block
    width, short = (choose_odd_width(s, rate_hz) for s in (settings.window_s, settings.smoothing_s))
    coarse = np.hstack((average_blocks(accel_mps2, block), average_blocks(gyro_radps, block)))
    mean, sd = moving_mean_std(moving_mean(coarse, short), width)
    direction, gyro_mean = mean[:, :3], mean[:, 3:]
    accel_sd, gyro_sd = norm(sd[:, :3]), norm(sd[:, 3:])
    shaking = gyro_sd / np.radians(settings.gyro_sd_degps) + accel_sd / settings.accel_sd_mps2
    calm = (gyro_sd < np.radians(settings.gyro_sd_degps)) & (accel_sd < settings.accel_sd_mps2)
    if not calm.any():
        return ()
    most = np.nanquantile(shaking[calm], settings.calmest_share)
    calmest = np.nan_to_num(shaking, nan=np.inf) <= most
    bias = median(gyro_mean[calmest])
    turning = norm(gyro_mean - bias) > np.radians(settings.turning_degps)
    still = calm & ~turning & find_finite_rows(coarse[:, :3])
    return tuple(
        Interval(float(time_s[part.start * block]), float(time_s[part.stop * block - 1]))
        for whole in list_mask_slices(still)
        for part in _find_steady_parts(direction[whole], whole.start, settings)
        if (part.stop - part.start - 1) / rate_hz >= settings.shortest_s
        and not _is_creeping(direction[part], rate_hz, settings)
    )


def _is_creeping(direction: FloatArray, rate_hz: float, settings: StillnessSettings) -> bool:
    """Whether gravity moves steadily, as in a piece of a slow sink: its second half differs."""
    half = len(direction) // 2
    a, b = direction[:half].mean(axis=0), direction[half:].mean(axis=0)
    moved = np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b))
    steady = settings.creep_degps * half / rate_hz
    return bool(moved > max(steady, 0.5 * settings.gravity_drift_deg))


def _find_steady_parts(
    direction: FloatArray, offset: int, settings: StillnessSettings
) -> list[slice]:
    """Parts of one rest in which gravity stays near the direction it has most of the time."""
    parts: list[slice] = []
    unit = direction / norm(direction)[:, None]
    pending = [slice(0, len(unit))]
    while pending:  # over parts, not samples: each pass splits off one posture
        part = pending.pop()
        if part.stop - part.start < 2:
            continue
        centre = median(unit[part])
        near = unit[part] @ (centre / np.linalg.norm(centre)) > np.cos(
            np.radians(settings.gravity_drift_deg)
        )
        inner = list_mask_slices(near)
        if not inner:
            continue
        longest = max(inner, key=lambda s: s.stop - s.start)
        start, stop = part.start + longest.start, part.start + longest.stop
        parts.append(slice(offset + start, offset + stop))
        pending += [
            rest
            for rest in (slice(part.start, start), slice(stop, part.stop))
            if rest.stop - rest.start > 1 and rest != part
        ]
    return sorted(parts, key=lambda s: s.start)


def find_common_rests(rests: list[tuple[Interval, ...]], shortest_s: float) -> tuple[Interval, ...]:
    """Stretches in which all sensors are still.

    Parameters
    ----------
    rests : list of tuple of Interval
        Rests of each sensor.
    shortest_s : float

    Returns
    -------
    tuple of Interval
    """
    common = tuple(s for s in rests[0] if s.duration_s >= shortest_s) if rests else ()
    for other in rests[1:]:
        overlaps = [
            Interval(max(a.start_s, b.start_s), min(a.end_s, b.end_s))
            for a in common
            for b in other
        ]
        common = tuple(part for part in overlaps if part.duration_s >= shortest_s)
    return common
