"""What can be wrong with one log: its range, its time, its values."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import SensorLog
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.easing import quintic_step
from imuproc.dsp.rotations import quat_from_rotvec, quat_to_matrix

FloatArray = NDArray[np.float64]


def find_running_span(log: SensorLog) -> tuple[float, float]:
    """First and last instant in s, as the log counts, at which its sensor turns as in running."""
    fast = np.flatnonzero(np.linalg.norm(log.gyro_radps, axis=1) > 6.0)
    if len(fast) == 0:
        return float(log.time_s[0]), float(log.time_s[-1])
    return float(log.time_s[fast[0]]), float(log.time_s[fast[-1]])


def _draw_moments(log: SensorLog, count: int, rng: np.random.Generator) -> FloatArray:
    """Instants spread over the run by chance, in s."""
    first, last = find_running_span(log)
    return np.sort(rng.uniform(first, last, count))


def _measure_period_s(log: SensorLog) -> float:
    return float(np.median(np.diff(log.time_s)))


# --- Range ----------------------------------------------------------------------------------------


def clip_accel(log: SensorLog, share: float, _: np.random.Generator) -> SensorLog:
    """End the accelerometer at a share of its largest reading."""
    limit = share * float(np.abs(log.accel_mps2).max())
    return replace(log, accel_mps2=np.clip(log.accel_mps2, -limit, limit), accel_range_mps2=limit)


def clip_gyro(log: SensorLog, share: float, _: np.random.Generator) -> SensorLog:
    """End the gyroscope at a share of its largest reading."""
    limit = share * float(np.abs(log.gyro_radps).max())
    return replace(log, gyro_radps=np.clip(log.gyro_radps, -limit, limit), gyro_range_radps=limit)


def clip_gyro_unstated(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    """End the gyroscope at a share of its largest reading, without stating the range."""
    return replace(clip_gyro(log, share, rng), gyro_range_radps=None)


# --- Time -----------------------------------------------------------------------------------------


def cut_gaps(log: SensorLog, gap_s: float, rng: np.random.Generator) -> SensorLog:
    """Cut three gaps into the run."""
    keep = np.ones(len(log.time_s), dtype=bool)
    for start_s in _draw_moments(log, 3, rng):
        keep &= (log.time_s < start_s) | (log.time_s >= start_s + gap_s)
    return log.take(keep)


def drop_samples(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    """Lose single samples by chance."""
    return log.take(rng.uniform(size=len(log.time_s)) >= share)


def repeat_stamps(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    """Give a share of the samples the stamp of the one before."""
    count = len(log.time_s)
    repeat = rng.uniform(size=count) < share
    repeat[0] = False
    own = np.maximum.accumulate(np.where(repeat, 0, np.arange(count)))
    return replace(log, time_s=log.time_s[own])


def jitter_stamps(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    """Move stamps by chance, by a share of the period (SD); none before the one before it."""
    noise_s = rng.normal(size=len(log.time_s)) * share * _measure_period_s(log)
    return replace(log, time_s=np.maximum.accumulate(log.time_s + noise_s))


def slow_clock(log: SensorLog, percent: float, _: np.random.Generator) -> SensorLog:
    """Slow the clock by some percent."""
    start_s = log.time_s[0]
    return replace(log, time_s=start_s + (log.time_s - start_s) * (1.0 - 0.01 * percent))


def thin_samples(log: SensorLog, every: float, _: np.random.Generator) -> SensorLog:
    """Keep one sample in so many."""
    return log.take(np.arange(len(log.time_s)) % round(every) == 0)


# --- Values ---------------------------------------------------------------------------------------


def add_spikes(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    """Put single samples of one axis off by a share of the full range, five in the run."""
    accel, gyro = log.accel_mps2.copy(), log.gyro_radps.copy()
    for at_s in _draw_moments(log, 5, rng):
        row = min(int(np.searchsorted(log.time_s, at_s)), len(log.time_s) - 1)
        sign = share * float(rng.choice([-1.0, 1.0]))
        axis = int(rng.integers(3))
        if rng.uniform() < 0.5:
            accel[row, axis] += sign * 16.0 * STANDARD_GRAVITY_MPS2
        else:
            gyro[row, axis] += sign * np.radians(2000.0)
    return replace(log, accel_mps2=accel, gyro_radps=gyro)


def freeze_axis(log: SensorLog, duration_s: float, rng: np.random.Generator) -> SensorLog:
    """Let one axis of one of the two sensors keep its value from a moment in the run on."""
    first, last = find_running_span(log)
    start_s = float(rng.uniform(first, first + 0.6 * (last - first)))
    held = (log.time_s >= start_s) & (log.time_s < start_s + duration_s)
    name = "accel_mps2" if rng.uniform() < 0.5 else "gyro_radps"
    values = getattr(log, name).copy()
    axis = int(rng.integers(3))
    values[held, axis] = values[int(np.argmax(held)), axis]
    return replace(log, **{name: values})


def swap_axes(log: SensorLog, kind: float, rng: np.random.Generator) -> SensorLog:
    """Exchange axes: 0 one of the gyroscope reversed, 1 two of it exchanged, 2 of both sensors."""
    accel, gyro = log.accel_mps2.copy(), log.gyro_radps.copy()
    order = list(range(3))
    a, b = (int(axis) for axis in rng.choice(3, 2, replace=False))
    if round(kind) == 0:
        gyro[:, a] = -gyro[:, a]
        return replace(log, gyro_radps=gyro)
    order[a], order[b] = b, a
    gyro = gyro[:, order]
    return replace(log, gyro_radps=gyro, accel_mps2=accel[:, order] if round(kind) == 2 else accel)


def scale_gravity(log: SensorLog, percent: float, _: np.random.Generator) -> SensorLog:
    """Let the accelerometer read too much by some percent."""
    return replace(log, accel_mps2=log.accel_mps2 * (1.0 + 0.01 * percent))


def add_bias_jump(log: SensorLog, jump_dps: float, rng: np.random.Generator) -> SensorLog:
    """Let the gyroscope's zero jump at a moment in the run, in any direction."""
    at_s = _draw_moments(log, 1, rng)[0]
    way = rng.normal(size=3)
    step = np.radians(jump_dps) * way / np.linalg.norm(way)
    return replace(log, gyro_radps=log.gyro_radps + step * (log.time_s >= at_s)[:, None])


def turn_on_limb(log: SensorLog, angle_deg: float, rng: np.random.Generator) -> SensorLog:
    """Turn the sensor on the limb within 0.1 s; both sensors see it turn.

    It turns about a horizontal axis of quiet standing: a turn about the limb's own axis moves
    sagittal angles by next to nothing.
    """
    at_s = _draw_moments(log, 1, rng)[0]
    share = quintic_step((log.time_s - at_s) / 0.1)
    turn = np.radians(angle_deg) * _draw_level_axis(log, rng)
    back = np.swapaxes(quat_to_matrix(quat_from_rotvec(share[:, None] * turn)), 1, 2)
    rate = np.gradient(share, log.time_s)[:, None] * turn
    return replace(
        log,
        accel_mps2=np.einsum("nij,nj->ni", back, log.accel_mps2),
        gyro_radps=np.einsum("nij,nj->ni", back, log.gyro_radps) + rate,
    )


def _draw_level_axis(log: SensorLog, rng: np.random.Generator) -> FloatArray:
    """A unit vector by chance at right angles to gravity as the first second shows it."""
    up = log.accel_mps2[log.time_s < log.time_s[0] + 1.0].mean(axis=0)
    way = np.cross(up, rng.normal(size=3))
    return np.asarray(way / np.linalg.norm(way))


def misread_unit(log: SensorLog, kind: float, _: np.random.Generator) -> SensorLog:
    """Misread a unit: 0 g as m/s², 1 rad/s as deg/s, 2 deg/s as rad/s."""
    if round(kind) == 0:
        return replace(log, accel_mps2=log.accel_mps2 / STANDARD_GRAVITY_MPS2)
    factor = np.pi / 180.0 if round(kind) == 1 else 180.0 / np.pi
    return replace(log, gyro_radps=log.gyro_radps * factor)
