"""What a real sensor makes of ideal signals, and what a real clock makes of the time."""

from dataclasses import dataclass, replace
from math import inf, pi, sqrt
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from imuproc.core.recording import SensorLog
from imuproc.core.sites import Site, is_foot
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.filters import low_pass
from imuproc.synth.poses import PoseTrack
from imuproc.synth.sensors.ideal import Mount, compute_ideal_signals

FloatArray = NDArray[np.float64]

_DEG: Final = pi / 180.0
_G: Final = STANDARD_GRAVITY_MPS2


@dataclass(frozen=True)
class SensorModel:
    """Faults of one kind of sensor, in the units of data sheets; the defaults are a perfect one.

    Every ``_sd`` is the standard deviation from which each sensor draws its own constants.

    Parameters
    ----------
    gyro_noise_dps_rthz, accel_noise_ug_rthz : float
        White noise N: its integral over t seconds has the SD N sqrt(t) (IEEE Std 952-1997), so one
        sample has the SD N sqrt(rate).
    gyro_bias_sd_dps, accel_bias_sd_mg : float
        Constant bias of each axis.
    gyro_bias_walk_dps_rts, accel_bias_walk_mg_rts : float
        Random walk of the bias: SD after t seconds is this times sqrt(t).
    gyro_scale_sd, accel_scale_sd : float
        Scale-factor error of each axis, as a fraction.
    misalignment_sd_deg : float
        Tilt of each axis out of its place towards each of the others, gyroscope and accelerometer
        apart (so axes are not quite orthogonal).
    gyro_g_sensitivity_sd_dps_g : float
        Response of each gyroscope axis to acceleration along each axis.
    gyro_range_dps, accel_range_g, foot_accel_range_g : float
        Full scale at which the signal clips; the accelerometer of a foot may have its own.
    bits : int or None
        Resolution of the full span; None for none.
    bandwidth_hz : float or None
        -3 dB frequency of a zero-phase low-pass ahead of sampling; None for none.
    """

    gyro_noise_dps_rthz: float = 0.0
    gyro_bias_sd_dps: float = 0.0
    gyro_bias_walk_dps_rts: float = 0.0
    gyro_scale_sd: float = 0.0
    gyro_g_sensitivity_sd_dps_g: float = 0.0
    gyro_range_dps: float = inf
    accel_noise_ug_rthz: float = 0.0
    accel_bias_sd_mg: float = 0.0
    accel_bias_walk_mg_rts: float = 0.0
    accel_scale_sd: float = 0.0
    accel_range_g: float = inf
    foot_accel_range_g: float | None = None
    misalignment_sd_deg: float = 0.0
    bits: int | None = None
    bandwidth_hz: float | None = None


# Gyroscope noise, bias, scale, g-sensitivity, both ranges, accelerometer noise and bias, and
# misalignment are those agreed on for mid-grade parts; the rest is judgement within facts such as
# "bias instability 2 to 20 deg/h" (typical data sheets; from memory).
_MID: Final = SensorModel(
    gyro_noise_dps_rthz=0.01,
    gyro_bias_sd_dps=0.5,
    gyro_bias_walk_dps_rts=0.0003,
    gyro_scale_sd=0.005,
    gyro_g_sensitivity_sd_dps_g=0.02,
    gyro_range_dps=2000.0,
    accel_noise_ug_rthz=150.0,
    accel_bias_sd_mg=15.0,
    accel_bias_walk_mg_rts=0.005,
    accel_scale_sd=0.005,
    accel_range_g=32.0,
    misalignment_sd_deg=0.3,
    bits=16,
)

GRADES: Final = MappingProxyType(
    {
        "ideal": SensorModel(),
        "mid": _MID,
        "mid16g": replace(_MID, foot_accel_range_g=16.0),
        "low": replace(
            _MID,
            gyro_noise_dps_rthz=0.03,
            gyro_bias_sd_dps=3.0,
            gyro_bias_walk_dps_rts=0.002,
            gyro_scale_sd=0.02,
            gyro_g_sensitivity_sd_dps_g=0.1,
            accel_noise_ug_rthz=400.0,
            accel_bias_sd_mg=60.0,
            accel_bias_walk_mg_rts=0.02,
            accel_scale_sd=0.01,
            accel_range_g=16.0,
            misalignment_sd_deg=1.0,
        ),
    }
)
"""Kinds of sensor by name: ``ideal``, ``mid``, ``mid16g`` (feet clip at 16 g) and ``low``."""


@dataclass(frozen=True)
class StampModel:
    """How a logger's clock and link treat the samples.

    A sample taken at time t (on the track's clock) carries the stamp
    ``start_s + offset_s + t * (1 + drift_ppm / 1e6)``, then noise, rounding and repetition.

    Parameters
    ----------
    rate_hz : float
        Sampling rate in Hz as the sensor's own clock counts.
    start_s : float
        Stamp of the track's time zero on a good clock.
    offset_s, drift_ppm : float
        Clock error: constant, and by parts per million.
    jitter_s : float
        SD by which samples are taken early or late; the stamp tells the truth about it.
    stamp_noise_s : float
        SD of an error of the stamp alone. Stamps are kept in order.
    resolution_s : float
        Step to which stamps are rounded; 0 for none.
    drop_fraction : float
        Share of samples lost one by one.
    gaps_s : tuple of (float, float)
        Start (on the track's clock) and duration in s of longer losses.
    duplicate_fraction : float
        Share of samples that carry the stamp of the sample before.
    random_phase : bool
        Whether the first sample falls anywhere within one sampling interval, or on the track's
        first stamp.
    """

    rate_hz: float
    start_s: float = 0.0
    offset_s: float = 0.0
    drift_ppm: float = 0.0
    jitter_s: float = 0.0
    stamp_noise_s: float = 0.0
    resolution_s: float = 0.0
    drop_fraction: float = 0.0
    gaps_s: tuple[tuple[float, float], ...] = ()
    duplicate_fraction: float = 0.0
    random_phase: bool = True

    def to_stamp_s(self, time_s: FloatArray) -> FloatArray:
        """Stamps in s of instants on the track's clock, before noise and rounding."""
        return np.asarray(
            self.start_s + self.offset_s + np.asarray(time_s) * (1.0 + self.drift_ppm * 1e-6)
        )


@dataclass(frozen=True, eq=False)
class IdealSignals:
    """Perfect signals in sensor axes on fine regular stamps, to be sampled by a sensor.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Track's clock in s.
    accel_mps2, gyro_radps : ndarray, shape (n, 3)
        Specific force in m/s² and angular velocity in rad/s.
    """

    time_s: FloatArray
    accel_mps2: FloatArray
    gyro_radps: FloatArray


def _draw_sample_times(
    start_s: float, end_s: float, stamps: StampModel, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Instants at which samples are taken (track's clock) and their stamps, losses included."""
    interval = 1.0 / stamps.rate_hz / (1.0 + stamps.drift_ppm * 1e-6)
    first = start_s + (rng.uniform(0.0, interval) if stamps.random_phase else 0.0)
    count = int(np.floor((end_s - first) / interval + 1e-9)) + 1
    taken = first + interval * np.arange(count)
    # Jitter is held within half an interval, so that samples stay in order.
    limit = 0.49 * interval
    taken = taken + np.clip(rng.normal(size=count) * stamps.jitter_s, -limit, limit)
    taken = np.clip(taken, start_s, end_s)
    stamp = stamps.to_stamp_s(taken) + rng.normal(size=count) * stamps.stamp_noise_s
    if stamps.resolution_s > 0.0:
        stamp = np.round(stamp / stamps.resolution_s) * stamps.resolution_s
    stamp = np.maximum.accumulate(stamp)
    repeat = rng.uniform(size=count) < stamps.duplicate_fraction
    repeat[0] = False
    stamp = stamp[np.maximum.accumulate(np.where(repeat, 0, np.arange(count)))]
    keep = rng.uniform(size=count) >= stamps.drop_fraction
    for gap_start, duration in stamps.gaps_s:
        keep &= (taken < gap_start) | (taken >= gap_start + duration)
    return taken[keep], stamp[keep]


def _distort_signals(
    signals: IdealSignals, model: SensorModel, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Scale, misalignment and g-sensitivity of one sensor, and the low-pass ahead of sampling."""
    off_axis = model.misalignment_sd_deg * _DEG * (1.0 - np.eye(3))
    accel_gain = np.eye(3) + rng.normal(size=(3, 3)) * (off_axis + model.accel_scale_sd * np.eye(3))
    gyro_gain = np.eye(3) + rng.normal(size=(3, 3)) * (off_axis + model.gyro_scale_sd * np.eye(3))
    coupling = rng.normal(size=(3, 3)) * model.gyro_g_sensitivity_sd_dps_g * _DEG / _G
    accel = signals.accel_mps2 @ accel_gain.T
    gyro = signals.gyro_radps @ gyro_gain.T + signals.accel_mps2 @ coupling.T
    if model.bandwidth_hz is not None:
        rate_hz = float((len(signals.time_s) - 1) / np.ptp(signals.time_s))
        accel = low_pass(accel, model.bandwidth_hz, rate_hz)
        gyro = low_pass(gyro, model.bandwidth_hz, rate_hz)
    return accel, gyro


def _draw_noise(
    time_s: FloatArray, white: float, bias_sd: float, walk: float, rng: np.random.Generator
) -> FloatArray:
    """White noise, constant bias and random walk of the bias, shape (n, 3)."""
    n = len(time_s)
    rate_hz = (n - 1) / max(float(np.ptp(time_s)), 1e-12) if n > 1 else 1.0
    wander = np.cumsum(rng.normal(size=(n, 3)), axis=0) * walk / sqrt(rate_hz)
    return np.asarray(
        rng.normal(size=3) * bias_sd + wander + rng.normal(size=(n, 3)) * white * sqrt(rate_hz)
    )


def _digitise_signal(x: FloatArray, full_scale: float, bits: int | None) -> FloatArray:
    """Clip at the range and round to the resolution."""
    if not np.isfinite(full_scale):
        return x
    clipped = np.clip(x, -full_scale, full_scale)
    if bits is None:
        return clipped
    step = 2.0 * full_scale / 2.0**bits
    return np.asarray(np.round(clipped / step) * step)


def sample_signals(
    signals: IdealSignals,
    site: Site,
    model: SensorModel,
    stamps: StampModel,
    rng: np.random.Generator,
) -> SensorLog:
    """Log that a sensor makes of ideal signals.

    Parameters
    ----------
    signals : IdealSignals
        Perfect signals, finer than the sensor samples.
    site : Site
    model : SensorModel
    stamps : StampModel
    rng : numpy Generator
        Draws the sensor's own faults and its noise.

    Returns
    -------
    SensorLog
        ``source`` is the site's name; ranges are stated when they are finite.

    Raises
    ------
    ValueError
        If the signals are shorter than one sample.
    """
    start_s, end_s = float(signals.time_s[0]), float(signals.time_s[-1])
    taken, stamp = _draw_sample_times(start_s, end_s, stamps, rng)
    if not len(taken):
        raise ValueError(f"no sample is left of {end_s - start_s:g} s at {stamps.rate_hz:g} Hz")
    accel, gyro = (
        CubicSpline(signals.time_s, x)(taken) for x in _distort_signals(signals, model, rng)
    )
    accel = accel + 1e-3 * _G * _draw_noise(
        taken,
        model.accel_noise_ug_rthz / 1000.0,
        model.accel_bias_sd_mg,
        model.accel_bias_walk_mg_rts,
        rng,
    )
    gyro = gyro + _DEG * _draw_noise(
        taken, model.gyro_noise_dps_rthz, model.gyro_bias_sd_dps, model.gyro_bias_walk_dps_rts, rng
    )
    own = model.foot_accel_range_g if is_foot(site) else None
    accel_range = (model.accel_range_g if own is None else own) * _G
    gyro_range = model.gyro_range_dps * _DEG
    return SensorLog(
        site=site,
        time_s=stamp,
        accel_mps2=_digitise_signal(accel, accel_range, model.bits),
        gyro_radps=_digitise_signal(gyro, gyro_range, model.bits),
        source=site,
        accel_range_mps2=accel_range if np.isfinite(accel_range) else None,
        gyro_range_radps=gyro_range if np.isfinite(gyro_range) else None,
    )


def sample_log(
    track: PoseTrack,
    mount: Mount,
    site: Site,
    model: SensorModel,
    stamps: StampModel,
    rng: np.random.Generator,
) -> SensorLog:
    """Log of a sensor on a moving segment, under standard gravity.

    Parameters
    ----------
    track : PoseTrack
    mount : Mount
    site : Site
    model : SensorModel
    stamps : StampModel
    rng : numpy Generator

    Returns
    -------
    SensorLog
        In sensor axes; stamps as the sensor's clock counts.

    Raises
    ------
    ValueError
        If the track is shorter than one sample.
    """
    accel, gyro = compute_ideal_signals(track, mount, STANDARD_GRAVITY_MPS2)
    return sample_signals(IdealSignals(track.time_s, accel, gyro), site, model, stamps, rng)
