"""A real foot-mounted IMU against optical stride lengths.

Source: Wagstaff, Peretroukhin & Kelly, University of Toronto Foot-Mounted Inertial Navigation
Dataset, IEEE DataPort 10.21227/v1z6-9z84 (open access). Jogging laps with tight turns, in which
the gyroscope clips, and one walk. Stances come from the data set: this judges the motion alone.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imuproc.conditioning.calibration import CalibrationSettings, calibrate
from imuproc.conditioning.timebase import to_common_clock
from imuproc.core.contacts import Contacts
from imuproc.core.recording import (
    Athlete,
    ConditionedRecording,
    Interval,
    Recording,
    Run,
    SensorLog,
)
from imuproc.dsp.integration import cumulative_integral
from imuproc.estimators.stride import ball_velocity
from imuproc.motion.body import prepare_body, solve_motion
from imuproc.motion.settings import MotionSettings
from tests.shared_data import SHARED_DATA, needs_shared_data

FOLDER = SHARED_DATA / "foot_imu_jogging"
WALK = "2017-11-22-11-25-20"
JOGS = ("2017-11-27-11-11-24", "2017-11-27-11-12-18", "2017-11-27-11-17-28", "2017-11-27-11-22-22")
GYRO_LIMIT_RADPS = 9.1  # where the jogging trials are seen to clip (the data's own notes)

pytestmark = needs_shared_data


def conditioned(trial: str, folder: Path, strides: pd.DataFrame) -> ConditionedRecording:
    with np.load(folder / f"{trial}.npz") as data:
        log = SensorLog(
            site="right_foot",
            time_s=data["time_s"],
            accel_mps2=data["acc_mps2"].astype(float),
            gyro_radps=data["gyr_radps"].astype(float),
            source=f"{trial}.npz",
            gyro_range_radps=None if trial == WALK else GYRO_LIMIT_RADPS,
        )
    recording = Recording("lab", Athlete("X1"), Run("X1-01"), {"right_foot": log})
    moving = Interval(float(strides["quiet_to_s"].iloc[0]), float(strides["quiet_from_s"].iloc[-1]))
    return calibrate(to_common_clock(recording), moving, CalibrationSettings())


def relative_errors(trial: str) -> tuple[np.ndarray, ConditionedRecording, np.ndarray]:
    """Error of each stride that the optical system saw whole, as a share of its length.

    With it the signals, and for each of these strides whether the gyroscope clipped in it.
    """
    strides = pd.read_csv(FOLDER / f"strides_{trial}.csv")
    signals = conditioned(trial, FOLDER, strides)
    inner = strides.iloc[1:-1]
    u_s = np.full(len(inner), 0.01)
    contacts = Contacts(
        np.full(len(inner), "right"),
        inner["quiet_from_s"].to_numpy(),
        inner["quiet_to_s"].to_numpy(),
        u_s,
        u_s,
    )
    foot = solve_motion(
        signals, prepare_body(signals, MotionSettings()), contacts, MotionSettings()
    ).segments["right_foot"]
    way = cumulative_integral(ball_velocity(foot)[:, :2], signals.rate_hz)
    place = np.stack(
        [np.interp(strides["mid_stance_s"], signals.time_s, way[:, k]) for k in (0, 1)], axis=1
    )
    length = np.linalg.norm(np.diff(place, axis=0), axis=1)
    optical = strides["stride_len_m"].to_numpy()[1:]
    seen = (strides["optical_suspect"].to_numpy()[1:] == 0) & np.isfinite(optical)
    seen[[0, -1]] = False
    clipped_s = signals.time_s[signals.segments["right_foot"].gyro_clipped]
    clipped = np.diff(np.searchsorted(clipped_s, strides["mid_stance_s"])) > 0
    return (length / optical - 1.0)[seen], signals, clipped[seen]


def test_strides_of_a_walk_agree_with_the_optical_system() -> None:
    errors, signals, _ = relative_errors(WALK)
    assert len(errors) >= 14
    assert abs(errors.mean()) < 0.01
    assert np.abs(errors).max() < 0.05
    assert "gyro_clipped" not in {flag.name for flag in signals.flags}


@pytest.mark.parametrize("trial", JOGS)
def test_strides_of_jogging_agree_although_the_gyroscope_clips(trial: str) -> None:
    errors, signals, clipped = relative_errors(trial)
    assert len(errors) >= 5
    assert abs(np.mean(errors)) < 0.03
    assert clipped.any()
    assert (~clipped).sum() >= 3
    assert abs(np.mean(errors[~clipped])) < 0.05  # single ones, in tight turns, up to 9 %
    assert "gyro_clipped" in {flag.name for flag in signals.flags}
