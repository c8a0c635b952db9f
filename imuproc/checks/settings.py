"""The limits of the check, each with its basis."""

from dataclasses import dataclass, field
from math import radians

from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.allan import AllanSettings
from imuproc.pipeline.settings import Settings, make_usual_settings


@dataclass(frozen=True)
class CheckSettings:
    """Limits beyond which a sensor is fit with limits only, or not fit.

    Limits that processing has too (rate, jitter, gaps, gravity, standing) are those of the method.

    Parameters
    ----------
    method : Settings
        Those of processing.
    piece_samples : int
        Samples of a log that are in memory at a time.
    missing_share, missing_share_unfit : float
        Share of samples missing from a log (common practice, no source; half of them missing is
        refused by processing).
    longest_gap_s : float
        A longer gap in one place is a limit wherever it is: in a sprint 0.1 s is a whole contact
        (contact times of 0.10 to 0.20 s, common practice, no source).
    gyro_noise_radps_rthz, gyro_noise_unfit_radps_rthz : float
        White noise N turns a segment by N sqrt(t) (IEEE Std 952-1997): over the 10 s of a sprint
        these make 0.16 and 0.63 deg. Parts in use have 0.004 to 0.015 deg/s/sqrt(Hz) (data sheets,
        from memory).
    accel_noise_mps2_rthz, accel_noise_unfit_mps2_rthz : float
        The same for velocity over the 0.5 s of a stride: 0.02 and 0.2 m/s. Parts in use have 0.06
        to 0.3 mg/sqrt(Hz), those of high range 1 to 10 (data sheets, from memory).
    gyro_bias_radps : float
        Zero-rate offset beyond that of parts in use, 0.5 to 5 deg/s (data sheets, from memory). It
        is taken off in standing, so it is a hint at a fault and no more.
    gyro_bias_change_radps : float
        Change of the offset between still intervals: within one run of 10 s a third of it may be
        left, some degrees (common practice, no source).
    head_room_share : float
        Least share of the range that should be left above the largest reading (common practice, no
        source).
    clipped_share : float
        So small a share of the samples in runs at the end of the accelerometer's range is a note
        only (common practice, no source).
    few_flat_tops : int
        Fewer samples of a flat top below the end of the stated range, or of an unstated one, are a
        note only: a slow peak may be flat by chance (common practice, no source).
    foot_accel_range_mps2, shank_accel_range_mps2, gyro_range_radps : float
        Least ranges for sprinting: feet pass 16 g in swing alone, and 2000 deg/s is hardly enough
        (own simulation; published peaks of sprinting are scarce).
    noise_needs_s : float
        Shortest stillness from which noise is read.
    lying_needs_s : float
        Shortest interval that can be told to be lying and not worn.
    lying_ratio : float
        The Allan deviation over half a second of a sensor that lies still is what its white noise
        explains; on a living body it is more than this many times as much.
    lying_least_radps, lying_least_mps2 : float
        Allan deviations that are not looked at: the last digit of a log.
    advised_still_s : float
        How long sensors should lie still before a session for noise and offset to be read.
    allan : AllanSettings
    end_apart_s : float
        Starts or ends of logs of one run that lie farther apart are told.
    clock_offset_s, clock_drift_ppm : float
        Clocks that are said to be one may seem this far apart: an ankle is no perfect joint (own
        trials on simulated sprints).
    compared_s : float
        Length of the part of longer logs in which clocks that are said to be one are compared.
    clock_sureness : float
        And this many standard uncertainties.
    """

    method: Settings = field(default_factory=make_usual_settings)
    piece_samples: int = 200_000
    missing_share: float = 0.01
    missing_share_unfit: float = 0.2
    longest_gap_s: float = 0.1
    gyro_noise_radps_rthz: float = radians(0.05)
    gyro_noise_unfit_radps_rthz: float = radians(0.2)
    accel_noise_mps2_rthz: float = 3e-3 * STANDARD_GRAVITY_MPS2
    accel_noise_unfit_mps2_rthz: float = 3e-2 * STANDARD_GRAVITY_MPS2
    gyro_bias_radps: float = radians(10.0)
    gyro_bias_change_radps: float = radians(1.0)
    head_room_share: float = 0.05
    clipped_share: float = 0.001
    few_flat_tops: int = 8
    foot_accel_range_mps2: float = 32.0 * STANDARD_GRAVITY_MPS2
    shank_accel_range_mps2: float = 16.0 * STANDARD_GRAVITY_MPS2
    gyro_range_radps: float = radians(2000.0)
    noise_needs_s: float = 1.5
    lying_needs_s: float = 3.0
    lying_ratio: float = 3.0
    lying_least_radps: float = radians(0.02)
    lying_least_mps2: float = 2e-3 * STANDARD_GRAVITY_MPS2
    advised_still_s: float = 60.0
    allan: AllanSettings = field(default_factory=AllanSettings)
    end_apart_s: float = 5.0
    clock_offset_s: float = 0.01
    clock_drift_ppm: float = 300.0
    compared_s: float = 1200.0
    clock_sureness: float = 4.0
