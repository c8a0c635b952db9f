"""Faults of sensors and loggers put into a recording, each at three severities.

What is harmful is laid down here, by the physical size of a fault and before anything looks for it:
a fault is harmful from the size on at which figures would be wrong, were it ignored, by more than
they are usually uncertain: 3 deg, 10 ms, or 5 % of a length.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import Recording, SensorLog
from imuproc.core.sites import Site
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.easing import quintic_step
from imuproc.dsp.rotations import quat_from_rotvec, quat_to_matrix
from imuproc.synth.sensors.faults_held import at_touchdown, in_swing, often

FloatArray = NDArray[np.float64]
Spoil = Callable[[Recording, float, np.random.Generator], Recording]
SpoilLog = Callable[[SensorLog, float, np.random.Generator], SensorLog]


@dataclass(frozen=True)
class FaultKind:
    """One kind of fault.

    Parameters
    ----------
    name : str
    what : str
        What is done to the recording, for people.
    unit : str
        Of the severities.
    severities : tuple of float
        Mild, middle and strong.
    harmful_from : int
        The first severity that is harmful, counted from 0; 3 where none is.
    spoil : callable
        ``(Recording, severity, rng) -> Recording``, the given one left as it is.
    """

    name: str
    what: str
    unit: str
    severities: tuple[float, float, float]
    harmful_from: int
    spoil: Spoil

    def harmful(self, level: int) -> bool:
        """Whether figures would be wrong if the fault at this level (0, 1, 2) were ignored."""
        return level >= self.harmful_from


def running_span(log: SensorLog) -> tuple[float, float]:
    """First and last instant in s, as the log counts, at which its sensor turns as in running."""
    fast = np.flatnonzero(np.linalg.norm(log.gyro_radps, axis=1) > 6.0)
    if len(fast) == 0:
        return float(log.time_s[0]), float(log.time_s[-1])
    return float(log.time_s[fast[0]]), float(log.time_s[fast[-1]])


def _one_sensor(change: SpoilLog) -> Spoil:
    """The fault in one sensor, drawn at random."""

    def spoil(recording: Recording, severity: float, rng: np.random.Generator) -> Recording:
        site = list(recording.logs)[int(rng.integers(len(recording.logs)))]
        log = change(recording.logs[site], severity, rng)
        return replace(recording, logs={**recording.logs, site: log})

    return spoil


def _every_sensor(change: SpoilLog) -> Spoil:
    """The fault in all sensors."""

    def spoil(recording: Recording, severity: float, rng: np.random.Generator) -> Recording:
        logs = {site: change(log, severity, rng) for site, log in recording.logs.items()}
        return replace(recording, logs=logs)

    return spoil


def _moments(log: SensorLog, count: int, rng: np.random.Generator) -> FloatArray:
    """Instants spread over the run by chance, in s."""
    first, last = running_span(log)
    return np.sort(rng.uniform(first, last, count))


def _period_s(log: SensorLog) -> float:
    return float(np.median(np.diff(log.time_s)))


# --- Range ----------------------------------------------------------------------------------------


def _clip_accel(log: SensorLog, share: float, _: np.random.Generator) -> SensorLog:
    limit = share * float(np.abs(log.accel_mps2).max())
    return replace(log, accel_mps2=np.clip(log.accel_mps2, -limit, limit), accel_range_mps2=limit)


def _clip_gyro(log: SensorLog, share: float, _: np.random.Generator) -> SensorLog:
    limit = share * float(np.abs(log.gyro_radps).max())
    return replace(log, gyro_radps=np.clip(log.gyro_radps, -limit, limit), gyro_range_radps=limit)


def _clip_gyro_unstated(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    return replace(_clip_gyro(log, share, rng), gyro_range_radps=None)


# --- Time -----------------------------------------------------------------------------------------


def _gaps(log: SensorLog, gap_s: float, rng: np.random.Generator) -> SensorLog:
    keep = np.ones(len(log.time_s), dtype=bool)
    for start_s in _moments(log, 3, rng):
        keep &= (log.time_s < start_s) | (log.time_s >= start_s + gap_s)
    return log.take(keep)


def _drops(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    return log.take(rng.uniform(size=len(log.time_s)) >= share)


def _duplicates(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    count = len(log.time_s)
    repeat = rng.uniform(size=count) < share
    repeat[0] = False
    own = np.maximum.accumulate(np.where(repeat, 0, np.arange(count)))
    return replace(log, time_s=log.time_s[own])


def _jitter(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    noise_s = rng.normal(size=len(log.time_s)) * share * _period_s(log)
    return replace(log, time_s=np.maximum.accumulate(log.time_s + noise_s))


def _slow_clock(log: SensorLog, percent: float, _: np.random.Generator) -> SensorLog:
    start_s = log.time_s[0]
    return replace(log, time_s=start_s + (log.time_s - start_s) * (1.0 - 0.01 * percent))


def _thinned(log: SensorLog, every: float, _: np.random.Generator) -> SensorLog:
    return log.take(np.arange(len(log.time_s)) % round(every) == 0)


# --- Values ---------------------------------------------------------------------------------------


def _spikes(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    """Single samples of one axis off by a share of the full range, five in the run."""
    accel, gyro = log.accel_mps2.copy(), log.gyro_radps.copy()
    for at_s in _moments(log, 5, rng):
        row = min(int(np.searchsorted(log.time_s, at_s)), len(log.time_s) - 1)
        sign = share * float(rng.choice([-1.0, 1.0]))
        axis = int(rng.integers(3))
        if rng.uniform() < 0.5:
            accel[row, axis] += sign * 16.0 * STANDARD_GRAVITY_MPS2
        else:
            gyro[row, axis] += sign * np.radians(2000.0)
    return replace(log, accel_mps2=accel, gyro_radps=gyro)


def _stuck(log: SensorLog, duration_s: float, rng: np.random.Generator) -> SensorLog:
    """One axis of one of the two sensors keeps a value from a moment in the run on."""
    first, last = running_span(log)
    start_s = float(rng.uniform(first, first + 0.6 * (last - first)))
    held = (log.time_s >= start_s) & (log.time_s < start_s + duration_s)
    name = "accel_mps2" if rng.uniform() < 0.5 else "gyro_radps"
    values = getattr(log, name).copy()
    axis = int(rng.integers(3))
    values[held, axis] = values[int(np.argmax(held)), axis]
    return replace(log, **{name: values})


def _swapped_axes(log: SensorLog, kind: float, rng: np.random.Generator) -> SensorLog:
    """0: one axis of the gyroscope reversed; 1: two of its axes exchanged; 2: of both sensors."""
    accel, gyro = log.accel_mps2.copy(), log.gyro_radps.copy()
    order = list(range(3))
    a, b = (int(axis) for axis in rng.choice(3, 2, replace=False))
    if round(kind) == 0:
        gyro[:, a] = -gyro[:, a]
        return replace(log, gyro_radps=gyro)
    order[a], order[b] = b, a
    gyro = gyro[:, order]
    return replace(log, gyro_radps=gyro, accel_mps2=accel[:, order] if round(kind) == 2 else accel)


def _gravity_scale(log: SensorLog, percent: float, _: np.random.Generator) -> SensorLog:
    return replace(log, accel_mps2=log.accel_mps2 * (1.0 + 0.01 * percent))


def _bias_jump(log: SensorLog, jump_dps: float, rng: np.random.Generator) -> SensorLog:
    at_s = _moments(log, 1, rng)[0]
    way = rng.normal(size=3)
    step = np.radians(jump_dps) * way / np.linalg.norm(way)
    return replace(log, gyro_radps=log.gyro_radps + step * (log.time_s >= at_s)[:, None])


def _slip(log: SensorLog, angle_deg: float, rng: np.random.Generator) -> SensorLog:
    """The sensor turns on the limb within 0.1 s; both sensors see it turn.

    It turns about a horizontal axis of quiet standing: a turn about the limb's own axis moves
    sagittal angles by next to nothing.
    """
    at_s = _moments(log, 1, rng)[0]
    share = quintic_step((log.time_s - at_s) / 0.1)
    turn = np.radians(angle_deg) * _level_axis(log, rng)
    back = np.swapaxes(quat_to_matrix(quat_from_rotvec(share[:, None] * turn)), 1, 2)
    rate = np.gradient(share, log.time_s)[:, None] * turn
    return replace(
        log,
        accel_mps2=np.einsum("nij,nj->ni", back, log.accel_mps2),
        gyro_radps=np.einsum("nij,nj->ni", back, log.gyro_radps) + rate,
    )


def _level_axis(log: SensorLog, rng: np.random.Generator) -> FloatArray:
    """A unit vector by chance at right angles to gravity as the first second shows it."""
    up = log.accel_mps2[log.time_s < log.time_s[0] + 1.0].mean(axis=0)
    way = np.cross(up, rng.normal(size=3))
    return np.asarray(way / np.linalg.norm(way))


def _wrong_unit(log: SensorLog, kind: float, _: np.random.Generator) -> SensorLog:
    """0: g read as m/s²; 1: rad/s read as deg/s; 2: deg/s read as rad/s."""
    if round(kind) == 0:
        return replace(log, accel_mps2=log.accel_mps2 / STANDARD_GRAVITY_MPS2)
    factor = np.pi / 180.0 if round(kind) == 1 else 180.0 / np.pi
    return replace(log, gyro_radps=log.gyro_radps * factor)


# --- Names ----------------------------------------------------------------------------------------

_EXCHANGED: Final[tuple[dict[Site, Site], ...]] = (
    {"left_shank": "left_foot", "left_foot": "left_shank"},
    {
        "left_shank": "right_shank",
        "right_shank": "left_shank",
        "left_foot": "right_foot",
        "right_foot": "left_foot",
    },
    {"left_shank": "right_shank", "right_shank": "left_shank"},
)


def _wrong_names(recording: Recording, kind: float, _: np.random.Generator) -> Recording:
    """0: shank and foot of a leg exchanged; 1: left and right legs; 2: left and right shank."""
    names = _EXCHANGED[round(kind)]
    logs = {
        site: replace(recording.logs[names.get(site, site)], site=site) for site in recording.logs
    }
    return replace(recording, logs=logs)


_ALL: Final[tuple[FaultKind, ...]] = (
    FaultKind(
        "accel_clipping",
        "accelerometers end at a share of the largest reading of each",
        "of the peak",
        (0.8, 0.6, 0.4),
        1,
        _every_sensor(_clip_accel),
    ),
    FaultKind(
        "gyro_clipping",
        "gyroscopes end at a share of the largest reading of each",
        "of the peak",
        (0.9, 0.75, 0.6),
        1,
        _every_sensor(_clip_gyro),
    ),
    FaultKind(
        "gyro_clipping_unstated",
        "the same, and the session file does not state the range",
        "of the peak",
        (0.9, 0.75, 0.6),
        1,
        _every_sensor(_clip_gyro_unstated),
    ),
    FaultKind("gaps", "three gaps in one log", "s", (0.02, 0.06, 0.2), 1, _one_sensor(_gaps)),
    FaultKind(
        "drops",
        "single samples lost, all logs",
        "of them",
        (0.01, 0.05, 0.2),
        2,
        _every_sensor(_drops),
    ),
    FaultKind(
        "duplicates",
        "stamps repeated, all logs",
        "of them",
        (0.02, 0.1, 0.5),
        3,
        _every_sensor(_duplicates),
    ),
    FaultKind(
        "jitter",
        "stamps off by chance, all logs",
        "of a period (SD)",
        (0.2, 0.4, 1.0),
        2,
        _every_sensor(_jitter),
    ),
    FaultKind(
        "slow_clock",
        "one sensor's clock is slow",
        "%",
        (0.05, 0.3, 1.0),
        1,
        _one_sensor(_slow_clock),
    ),
    FaultKind(
        "wrong_rate",
        "the stated rate of all logs is too high",
        "%",
        (0.5, 5.0, 20.0),
        1,
        _every_sensor(_slow_clock),
    ),
    FaultKind(
        "low_rate", "one sample in so many is kept", "", (3.0, 4.0, 5.0), 1, _every_sensor(_thinned)
    ),
    FaultKind(
        "spikes",
        "five single samples off in one log",
        "of 16 g or 2000 deg/s",
        (0.1, 0.5, 1.0),
        1,
        _one_sensor(_spikes),
    ),
    FaultKind("stuck", "one axis keeps its value", "s", (0.06, 0.3, 1e9), 1, _one_sensor(_stuck)),
    FaultKind(
        "held_in_swing", "a sensor held, in swing", "s", (0.02, 0.04, 0.3), 1, _one_sensor(in_swing)
    ),
    FaultKind(
        "held_at_touchdown",
        "a sensor held, about a touchdown",
        "s",
        (0.02, 0.04, 0.3),
        0,
        _one_sensor(at_touchdown),
    ),
    FaultKind(
        "held_often",
        "all sensors held now and then, for 20 to 60 ms",
        "of the time",
        (0.01, 0.05, 0.2),
        0,
        _every_sensor(often),
    ),
    FaultKind(
        "swapped_axes",
        "axis reversed, exchanged, exchanged in both sensors",
        "kind",
        (0.0, 1.0, 2.0),
        0,
        _one_sensor(_swapped_axes),
    ),
    FaultKind(
        "gravity_scale",
        "accelerometer reads too much",
        "%",
        (3.0, 8.0, 15.0),
        1,
        _one_sensor(_gravity_scale),
    ),
    FaultKind(
        "bias_jump",
        "gyroscope's zero jumps in the run",
        "deg/s",
        (0.5, 3.0, 15.0),
        1,
        _one_sensor(_bias_jump),
    ),
    FaultKind("slip", "a sensor turns on its limb", "deg", (2.0, 8.0, 20.0), 1, _one_sensor(_slip)),
    FaultKind(
        "wrong_unit",
        "g as m/s², rad/s as deg/s, deg/s as rad/s",
        "kind",
        (0.0, 1.0, 2.0),
        0,
        _one_sensor(_wrong_unit),
    ),
    FaultKind(
        "wrong_names",
        "shank and foot, both legs, both shanks exchanged",
        "kind",
        (0.0, 1.0, 2.0),
        0,
        _wrong_names,
    ),
)

FAULTS: Final[dict[str, FaultKind]] = {kind.name: kind for kind in _ALL}
"""All kinds of fault by name."""
