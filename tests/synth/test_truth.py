"""Truth of a made-up run whose every figure can be worked out by hand."""

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from imuproc.core.columns import BY_NAME
from imuproc.synth.poses import PoseTrack
from imuproc.synth.truth import compute_angle_curves, derive_truth


def hand_made() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Four contacts; right pitch is a straight line, right shin constant, left has a dip."""
    events = pd.DataFrame(
        {
            "side": ["right", "left", "right", "left"],
            "touchdown_s": [1.0, 1.3, 1.7, 1.9],
            "toe_off_s": [1.2, 1.45, 1.8, 2.05],
            "ball_x_m": [2.0, 3.5, 5.1, 7.0],
        }
    )
    t = np.arange(0.0, 3.0, 0.01)
    dip = np.where((t > 1.5) & (t < 1.54), -30.0, 0.0)
    curves = pd.DataFrame(
        {
            "time_s": t,
            "shin_angle_left_deg": 80.0,
            "foot_pitch_left_deg": dip - 5.0,
            "dorsiflexion_left_deg": dip + 5.0,
            "shin_angle_right_deg": 60.0,
            "foot_pitch_right_deg": 100.0 * t,
            "dorsiflexion_right_deg": 100.0 * t + 30.0,
        }
    )
    return events, curves


def test_times_frequency_length_and_speed() -> None:
    steps = derive_truth(*hand_made()).steps
    assert steps["step"].tolist() == [1, 2, 3, 4]
    assert steps["side"].tolist() == ["right", "left", "right", "left"]
    nan = np.nan
    for name, expected in {
        "contact_time_s": [0.2, 0.15, 0.1, 0.15],
        "flight_time_s": [0.1, 0.25, 0.1, nan],
        "step_time_s": [0.3, 0.4, 0.2, nan],
        "step_frequency_hz": [1 / 0.3, 2.5, 5.0, nan],
        "step_length_m": [1.5, 1.6, 1.9, nan],
        "speed_mps": [5.0, 4.0, 9.5, nan],
    }.items():
        np.testing.assert_allclose(steps[name], expected, rtol=1e-9, err_msg=name)


def test_angles_at_events_and_ankle_ahead_of_knee() -> None:
    truth = derive_truth(*hand_made(), shank_length_m=0.4)
    first = truth.steps.iloc[0]
    assert first["shin_angle_touchdown_deg"] == pytest.approx(60.0)
    assert first["foot_pitch_touchdown_deg"] == pytest.approx(100.0)
    assert first["foot_pitch_toe_off_deg"] == pytest.approx(120.0)
    assert first["dorsiflexion_touchdown_deg"] == pytest.approx(130.0)
    # cos 60 deg = 0.5: the ankle is 0.2 m behind the knee
    assert first["ankle_ahead_of_knee_m"] == pytest.approx(-0.2)
    assert derive_truth(*hand_made()).steps["ankle_ahead_of_knee_m"].isna().all()


def test_swing_windows() -> None:
    steps = derive_truth(*hand_made(), departures_s={"right": 0.6}).steps
    # Right: first swing 0.6 to 1.0 from its departure, second 1.2 to 1.7 from its toe-off.
    np.testing.assert_allclose(steps["foot_pitch_swing_min_deg"][[0, 2]], [90.0, 157.5])
    np.testing.assert_allclose(steps["foot_pitch_swing_max_deg"][[0, 2]], [100.0, 170.0])
    np.testing.assert_allclose(steps["dorsiflexion_swing_min_deg"][[0, 2]], [106.0, 170.0])
    np.testing.assert_allclose(steps["dorsiflexion_swing_mean_deg"][[0, 2]], [122.0, 190.0])
    # Left: no departure known for its first contact; the dip at 1.50 to 1.54 s is 20 % into its
    # second swing, before every window.
    assert np.isnan(steps["dorsiflexion_swing_min_deg"][1])
    assert steps["dorsiflexion_swing_min_deg"][3] == pytest.approx(5.0)


def test_same_foot_twice_leaves_the_time_between_unknown() -> None:
    events, curves = hand_made()
    steps = derive_truth(events.drop(index=1), curves).steps
    assert steps["side"].tolist() == ["right", "right", "left"]
    assert np.isnan(steps["step_time_s"][0])
    assert np.isnan(steps["step_length_m"][0])
    assert steps["step_time_s"][1] == pytest.approx(0.2)


def test_events_outside_the_curves_have_no_angle() -> None:
    events, curves = hand_made()
    steps = derive_truth(events, curves[curves["time_s"] > 1.5]).steps
    assert np.isnan(steps["shin_angle_touchdown_deg"][0])
    assert np.isfinite(steps["foot_pitch_swing_min_deg"][2])
    assert np.isnan(steps["dorsiflexion_swing_min_deg"][2])


def test_columns_are_those_of_the_step_table() -> None:
    assert set(derive_truth(*hand_made()).steps.columns) <= set(BY_NAME)


def test_shifted_moves_every_time_and_nothing_else() -> None:
    truth = derive_truth(*hand_made(), departures_s={"left": 0.5})
    later = truth.shift_clock(10.0)
    np.testing.assert_allclose(later.steps["touchdown_s"], truth.steps["touchdown_s"] + 10.0)
    np.testing.assert_allclose(later.curves["time_s"], truth.curves["time_s"] + 10.0)
    assert later.departures_s["left"] == pytest.approx(10.5)
    assert np.isnan(later.departures_s["right"])
    pd.testing.assert_series_equal(later.steps["contact_time_s"], truth.steps["contact_time_s"])
    assert truth.steps["touchdown_s"][0] == 1.0


def test_curves_from_poses_keep_the_signs_and_pass_minus_90() -> None:
    t = np.arange(0.0, 1.0, 0.01)
    heading = Rotation.from_euler("z", 12.0, degrees=True)  # toe-out does not change the pitch
    down = Rotation.from_euler("y", 120.0 * t[:, None], degrees=True)  # toes go down to -120 deg
    lean = Rotation.from_euler("y", np.full((len(t), 1), 30.0), degrees=True)  # knee goes ahead
    still = np.zeros((len(t), 3))
    curves = compute_angle_curves(
        {
            "left_foot": PoseTrack(t, down.as_matrix(), still),
            "left_shank": PoseTrack(t, lean.as_matrix(), still),
            "right_foot": PoseTrack(t, np.tile(heading.as_matrix(), (len(t), 1, 1)), still),
        }
    )
    np.testing.assert_allclose(curves["foot_pitch_left_deg"], -120.0 * t, atol=1e-9)
    np.testing.assert_allclose(curves["shin_angle_left_deg"], 60.0)
    np.testing.assert_allclose(curves["dorsiflexion_left_deg"], 30.0 - 120.0 * t, atol=1e-9)
    np.testing.assert_allclose(curves["foot_pitch_right_deg"], 0.0, atol=1e-9)
    assert curves["shin_angle_right_deg"].isna().all()


def test_no_tracks_no_curves() -> None:
    with pytest.raises(ValueError, match="at least one track"):
        compute_angle_curves({})
